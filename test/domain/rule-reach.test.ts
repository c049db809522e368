import fc from 'fast-check'
import { expect, it } from 'vitest'
import type { Day } from '../../src/domain/day.ts'
import { defaultHouseRules, type HouseRuleKey, type HouseRules, houseRuleTable } from '../../src/domain/house-rules.ts'
import { obligationKinds } from '../../src/domain/reckoning/facts.ts'
import type { RulesFrom } from '../../src/domain/reckoning/outcome.ts'
import { reckonAndKeep } from '../../src/domain/reckoning/reckon.ts'
import { letterDaysOf } from '../../src/domain/reckoning/windows.ts'
import { reaches, reachOfRule } from '../../src/domain/rule-reach.ts'
import { type AnyRequest, anyRequest } from './reckoning/any-request.ts'

const RUNS = Number(process.env.PROPERTY_RUNS ?? 150)
const keys = Object.keys(houseRuleTable) as HouseRuleKey[]

const anyValue = (key: HouseRuleKey) => {
  const { min, max, default: usual } = houseRuleTable[key]
  const near = fc.integer({ min: -24, max: 24 }).map((n) => Math.min(max, Math.max(min, usual + n)))
  return fc.oneof(near, fc.integer({ min, max: Math.min(max, min + 400) }), fc.integer({ min, max }))
}

/** Everything that is kept of each kind: dates, windows, the next day to look, and the letter days. */
function kept({ facts, on }: AnyRequest, rules: HouseRules, rulesFrom: RulesFrom) {
  const { answer, keeping } = reckonAndKeep(facts, rules, on, { rulesFrom })
  return obligationKinds.map((kind, index) => {
    const due = answer.obligations.find((o) => o.kind === kind)
    const without = answer.without.find((w) => w.kind === kind)
    return {
      row: {
        kind,
        rule: due?.rule ?? null,
        because: without?.because ?? null,
        baseFrom: due?.baseFrom ?? null,
        noticesBy: keeping[index]?.noticesBy ?? null,
      },
      said: JSON.stringify([due, without, keeping[index], due && letterDaysOf(due, rules)]),
    }
  })
}

it.each(keys)('what %s moves stands in its reach', (key) => {
  let moved = 0
  fc.assert(
    fc.property(anyRequest, anyValue(key), anyValue(key), (request, first, then) => {
      const before = kept(request, { ...defaultHouseRules, [key]: first }, {})
      // a value that is not the first of its rule carries its from-day
      const after = kept(request, { ...defaultHouseRules, [key]: then }, { [key]: '2024-06-10' as Day })
      before.forEach(({ row, said }, index) => {
        if (said === after[index]?.said) return
        moved++
        expect(reaches(reachOfRule[key], row), `${row.kind}, ${row.rule ?? row.because}`).toBe(true)
      })
    }),
    { numRuns: RUNS },
  )
  // a reach that nothing ever exercised would prove nothing; rare signs need more runs than these
  if (RUNS >= 1000) expect(moved).toBeGreaterThan(0)
})

it('a reach leaves out the watches a number has nothing to do with', () => {
  const stands = { because: null, baseFrom: 'own-record', noticesBy: 'due-day' } as const
  const service = { kind: 'complete-service', ...stands } as const
  expect(reaches(reachOfRule.highBeatServiceMonths, { ...service, rule: 'high-beat' })).toBe(true)
  expect(reaches(reachOfRule.highBeatServiceMonths, { ...service, rule: 'quartz' })).toBe(false)
  expect(reaches(reachOfRule.highBeatServiceMonths, { ...service, rule: 'maker' })).toBe(false)
  expect(reaches(reachOfRule.madeSoldMonths, { ...service, rule: 'usual' })).toBe(false)
  expect(reaches(reachOfRule.fairnessDays, { ...service, rule: 'usual' })).toBe(false)
  expect(reaches(reachOfRule.cellMonths, { ...service, rule: 'usual' })).toBe(false)
})
