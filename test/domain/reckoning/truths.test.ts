import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import {
  addDays,
  addMonths,
  type Day,
  dayOfNumber,
  numberOfDay,
  type PartialDay,
  spanOf,
} from '../../../src/domain/day.ts'
import { defaultHouseRules } from '../../../src/domain/house-rules.ts'
import type { Answer, Obligation } from '../../../src/domain/reckoning/answer.ts'
import {
  type Facts,
  type HistoryEvent,
  type ObligationKind,
  obligationKinds,
  type WearFacts,
} from '../../../src/domain/reckoning/facts.ts'
import { reckon, reckonAndKeep } from '../../../src/domain/reckoning/reckon.ts'
import { readRequest } from '../../../src/domain/reckoning/request.ts'
import { type AnyRequest, anyEvent, anyRequest, firstDay, knownBy, lastDay } from './any-request.ts'

/** Any number may be asked for from outside, for a longer hunt. */
const RUNS = Number(process.env.PROPERTY_RUNS ?? 500)
const check = (name: string, holds: (request: AnyRequest) => void) =>
  it(name, () => fc.assert(fc.property(anyRequest, holds), { numRuns: RUNS }))

const ask = (facts: Facts, on: Day, rules = defaultHouseRules) => reckon(facts, rules, on)
const of = (answer: Answer, kind: ObligationKind): Obligation | undefined =>
  answer.obligations.find((o) => o.kind === kind)
const withEvents = (facts: Facts, ...more: HistoryEvent[]): Facts => ({
  ...facts,
  history: [...(facts.history ?? []), ...more],
})
const openings = ['case-opened', 'seals-replaced', 'cell-fitted', 'cell-removed', 'movement-fitted']

check('every request is well formed, and every kind stands in exactly one of the two lists, in order', (request) => {
  expect(readRequest({ on: request.on, ...JSON.parse(JSON.stringify(request.facts)) }).ok).toBe(true)
  const { obligations, without } = ask(request.facts, request.on)
  const kinds = obligationKinds.filter((kind) => obligations.some((o) => o.kind === kind))
  expect(obligations.map((o) => o.kind)).toEqual(kinds)
  expect(without.map((w) => w.kind)).toEqual(obligationKinds.filter((kind) => !kinds.includes(kind)))
})

describe('1. learning that a watch is worn daily, exposed, or used hard in water', () => {
  const harder: [keyof WearFacts, string][] = [
    ['daily', 'yes'],
    ['vibration', 'yes'],
    ['heat', 'yes'],
    ['cold', 'yes'],
    ['salt', 'yes'],
    ['chlorine', 'yes'],
    ['hotWater', 'yes'],
    ['water', 'often'],
    ['water', 'diving'],
  ]
  it.each(harder)('%s %s never makes a date later, nor ends an obligation', (fact, to) => {
    fc.assert(
      fc.property(anyRequest, ({ on, facts }) => {
        const before = ask(facts, on)
        const after = ask({ ...facts, wear: { ...facts.wear, [fact]: to } }, on)
        for (const { kind, dueOn } of before.obligations) expect((of(after, kind)?.dueOn ?? '9999') <= dueOn).toBe(true)
      }),
      { numRuns: Math.ceil(RUNS / 4) },
    )
  })
})

check(
  '2. a complete service and a passed test today leave nothing due before the shortest interval',
  ({ on, facts }) => {
    const unsettled = (facts.history ?? []).some(
      (e) =>
        lastDay(e) > on &&
        (e.event === 'sign' ||
          e.event === 'water-claim-withdrawn' ||
          openings.includes(e.event) ||
          (e.event === 'water-test' && !e.passed)),
    )
    fc.pre(!unsettled)
    const today = { on: on as Day & PartialDay, source: 'own-record' as const, learned: on }
    const done = withEvents(
      facts,
      { event: 'complete-service', ...today },
      { event: 'water-test', ...today, passed: true },
    )
    const shortest = Math.min(
      12,
      ...(facts.guidance ?? []).map((g) => g.months),
      ...(facts.notes ?? []).map((n) => n.months),
    )
    for (const { kind, dueOn } of ask(done, on).obligations) {
      if (kind !== 'cell-change') expect(dueOn >= addMonths(on, shortest)).toBe(true)
    }
  },
)

check('3. an opening that nothing trusted has settled is due on its day', ({ on, facts }) => {
  const opening = (facts.history ?? []).find((e) => openings.includes(e.event) && knownBy(e, on))
  fc.pre(opening !== undefined)
  const day = firstDay(opening.on)
  const history = (facts.history ?? []).filter(
    (e) =>
      !(e.event === 'complete-service' || (e.event === 'water-test' && e.passed)) ||
      e.source === 'owner-word' ||
      firstDay(e.on) < day,
  )
  const watch = { ...facts.watch, made: null, waterClaim: { marked: 'plain' as const } }
  const answer = ask({ ...facts, watch, wear: { water: 'now-and-then' }, history }, on)
  const check = of(answer, 'water-check')
  expect(check).toBeDefined()
  expect(check?.rule === 'not-resistant' || (check?.dueOn ?? '9999') <= day).toBe(true)
})

check(
  "4. a cell's date is never after best-before, fitting or interval; a dead one is never let go",
  ({ on, facts }) => {
    const cells: Facts = {
      ...facts,
      watch: { ...facts.watch, kind: 'quartz', made: null },
      guidance: (facts.guidance ?? []).filter((g) => g.obligation !== 'cell-change'),
      history: (facts.history ?? []).filter((e) => e.event !== 'cell-removed' && e.event !== 'movement-fitted'),
    }
    const due = of(ask(cells, on), 'cell-change')
    expect(due).toBeDefined()
    if (due?.baseOn) {
      expect(due.dueOn <= addMonths(due.baseOn, 24)).toBe(true)
      const fitted = (cells.history ?? []).filter((e) => knownBy(e, on) && firstDay(e.on) === due.baseOn)
      const fittings = fitted.filter((e) => e.event === 'cell-fitted')
      const only = fittings[0]
      if (fittings.length === 1 && only?.event === 'cell-fitted' && only.bestBefore != null) {
        const bestBefore = dayOfNumber(spanOf(only.bestBefore).last)
        expect(due.dueOn <= bestBefore || due.dueOn <= due.baseOn).toBe(true)
      }
    }
    const dead = (cells.history ?? []).filter((e) => e.event === 'sign' && e.sign === 'cell-dead' && knownBy(e, on))
    if (due?.rule !== 'spent') return
    expect(['due', 'overdue', 'asked-enough']).toContain(due.standing)
    const lastWord = dead
      .map((e) => (e.learned != null && e.learned > firstDay(e.on) ? e.learned : firstDay(e.on)))
      .sort()
    const last = lastWord.at(-1)
    const stands = dead.some((e) => due.baseOn === null || lastDay(e) > due.baseOn)
    if (last !== undefined && stands && dead.length === 1 && on < addMonths(last, 2)) {
      expect(due.standing).not.toBe('asked-enough')
    }
  },
)

check('5a. no fact to come is ever a base', ({ on, facts }) => {
  for (const { baseOn } of ask(facts, on).obligations) expect((baseOn ?? on) <= on).toBe(true)
})

describe('5b. an older one than the newest of its kind changes no date of that kind', () => {
  it.each([
    ['complete-service', 'complete-service'],
    ['cell-fitted', 'cell-change'],
    ['seals-replaced', 'seals'],
  ] as const)('%s', (event, kind) => {
    fc.assert(
      fc.property(anyRequest, anyEvent, fc.integer({ min: 1, max: 900 }), fc.boolean(), (request, any, back, first) => {
        const facts = { ...request.facts, watch: { ...request.facts.watch, made: null } }
        const newest = (facts.history ?? [])
          .filter((e) => e.event === event && knownBy(e, request.on))
          .map((e) => firstDay(e.on))
          .sort()
          .at(-1)
        fc.pre(newest !== undefined)
        const { source, learned } = any
        const older = { event, source, learned, on: addDays(newest, -back) as Day & PartialDay } as HistoryEvent
        const history = facts.history ?? []
        const more = { ...facts, history: first ? [older, ...history] : [...history, older] }
        expect(of(ask(more, request.on), kind)?.dueOn).toBe(of(ask(facts, request.on), kind)?.dueOn)
      }),
      { numRuns: RUNS },
    )
  })
})

describe('6. same facts, same answer', () => {
  check('byte for byte', ({ on, facts }) => {
    const options = { trace: true, wouldChange: true }
    const once = JSON.stringify(reckonAndKeep(facts, defaultHouseRules, on, options))
    expect(JSON.stringify(reckonAndKeep(structuredClone(facts), defaultHouseRules, on, options))).toBe(once)
  })

  check('the order of the history matters only on equal days', ({ on, facts }) => {
    const seen = new Set<string>()
    const history = (facts.history ?? []).filter((e) => !seen.has(firstDay(e.on)) && seen.add(firstDay(e.on)))
    const options = { trace: true, wouldChange: true }
    const { warnings, ...forth } = reckon({ ...facts, history }, defaultHouseRules, on, options)
    const { warnings: others, ...back } = reckon(
      { ...facts, history: history.toReversed() },
      defaultHouseRules,
      on,
      options,
    )
    expect(back).toEqual(forth)
    const turned = others.map((w) => ('history' in w ? { ...w, history: history.length - 1 - w.history } : w))
    expect(turned).toHaveLength(warnings.length)
    expect(turned).toEqual(expect.arrayContaining([...warnings]))
  })
})

check('7. from a 29 February, multiples of 48 months land on a 29 February', ({ facts }) => {
  const months = 48 * (1 + ((facts.history?.length ?? 0) % 5))
  const leap: Facts = {
    watch: { kind: 'hand-wound', firstSeen: '2024-02-29' as Day },
    guidance: [{ obligation: 'complete-service', months, inForceFrom: '2020-01-01' as Day }],
    history: [{ event: 'complete-service', on: '2024-02-29' as PartialDay, source: 'paper' }],
  }
  expect(of(ask(leap, '2024-03-01' as Day), 'complete-service')?.dueOn).toBe(`${2024 + months / 12}-02-29`)
})

check(
  '8. no cell change without a primary cell, no water check without a claim, what is to be assessed never overdue',
  ({ on, facts }) => {
    const answer = ask(facts, on)
    if (facts.watch.kind !== 'quartz' && facts.watch.kind !== 'electric')
      expect(of(answer, 'cell-change')).toBeUndefined()
    const claim = facts.watch.waterClaim?.marked ?? 'unknown'
    if (claim === 'none' || claim === 'unknown') expect(of(answer, 'water-check')).toBeUndefined()
    for (const { rule, standing, overdueFrom, stopOn } of ask(facts, addDays(on, 4000)).obligations) {
      if (rule === 'unknown-base') expect([standing, overdueFrom, stopOn]).toEqual(['to-be-assessed', null, null])
      else expect(standing).not.toBe('to-be-assessed')
    }
  },
)

check('9. lengthening a lead moves only comingUpFrom, and so not-yet to coming-up', ({ on, facts }) => {
  const longer = { ...defaultHouseRules }
  for (const key of Object.keys(longer) as (keyof typeof longer)[]) if (key.endsWith('LeadDays')) longer[key] += 17
  const before = ask(facts, on)
  const after = ask(facts, on, longer)
  expect(after.obligations.length).toBe(before.obligations.length)
  before.obligations.forEach((was, i) => {
    const is = after.obligations[i] as Obligation
    const toBeAssessed = was.rule === 'unknown-base'
    const sooner = on >= addDays(was.comingUpFrom, -17)
    expect(is).toEqual({
      ...was,
      comingUpFrom: toBeAssessed ? was.comingUpFrom : addDays(was.comingUpFrom, -17),
      standing: was.standing === 'not-yet' && sooner ? 'coming-up' : was.standing,
    })
  })
})

describe('10. a day passes and no fact changes', () => {
  const outcomeOf = (facts: Facts, on: Day, kind: ObligationKind) => {
    const { obligations, without } = reckon(facts, defaultHouseRules, on, { wouldChange: true })
    return [...obligations, ...without].find((o) => o.kind === kind)
  }

  it('until the day to reconsider, every kind comes out the same', () => {
    fc.assert(
      fc.property(anyRequest, fc.integer({ min: 1, max: 400 }), ({ on, facts }, days) => {
        for (const { kind, reconsiderOn } of reckonAndKeep(facts, defaultHouseRules, on).keeping) {
          const until = reconsiderOn === null ? addDays(on, days * 20) : addDays(reconsiderOn, -1)
          if (reconsiderOn !== null) expect(reconsiderOn > on).toBe(true)
          const between = Math.min(days, numberOfDay(until) - numberOfDay(on))
          const now = outcomeOf(facts, on, kind)
          expect(outcomeOf(facts, until, kind)).toEqual(now)
          expect(outcomeOf(facts, addDays(on, between), kind)).toEqual(now)
        }
      }),
      { numRuns: RUNS },
    )
  })

  check('a date changes only on a day on which some fact begins to count', ({ on, facts }) => {
    const days = new Set<string>()
    for (const e of facts.history ?? [])
      days.add(e.learned != null && e.learned > firstDay(e.on) ? e.learned : firstDay(e.on))
    for (const g of facts.guidance ?? [])
      days.add(g.learned != null && g.learned > g.inForceFrom ? g.learned : g.inForceFrom)
    for (const n of facts.notes ?? []) days.add(n.on)
    for (const p of [facts.watch.made, facts.watch.sold]) if (p != null) days.add(firstDay(p))
    if (facts.wear?.learned != null) days.add(facts.wear.learned)
    const dues = (day: Day) => ask(facts, day).obligations.map(({ kind, dueOn }) => [kind, dueOn])
    for (const day of [on, ...[...days].map((d) => addDays(d as Day, 1))] as Day[]) {
      if (day >= on && !days.has(addDays(day, 1))) expect(dues(addDays(day, 1))).toEqual(dues(day))
    }
  })
})

check('each answer that would change a date does so, and no other', ({ on, facts }) => {
  const wear = facts.wear != null && !(facts.wear.learned != null && facts.wear.learned > on) ? facts.wear : {}
  for (const { kind, dueOn, wouldChange } of reckon(facts, defaultHouseRules, on, { wouldChange: true }).obligations) {
    const expected: unknown[] = []
    for (const fact of ['daily', 'vibration', 'heat', 'cold', 'water', 'salt', 'chlorine', 'hotWater'] as const) {
      if ((wear[fact] ?? 'unknown') !== 'unknown') continue
      for (const to of fact === 'water' ? ['never', 'now-and-then', 'often', 'diving', 'in-water'] : ['yes', 'no']) {
        const then = of(ask({ ...facts, wear: { ...wear, [fact]: to } }, on), kind)?.dueOn ?? null
        if (then !== dueOn) expected.push({ fact: `wear.${fact}`, to, dueOn: then })
      }
    }
    expect(wouldChange).toEqual(expected)
  }
})

check('the trace names the rule that decided, and the date', ({ on, facts }) => {
  for (const { rule, dueOn, noticesDueOn, trace } of reckon(facts, defaultHouseRules, on, { trace: true })
    .obligations) {
    expect(trace?.some((step) => step.applied && step.rule === rule)).toBe(true)
    const text = JSON.stringify(trace)
    expect(text).toContain(dueOn)
    expect(text).toContain(noticesDueOn)
  }
})
