import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { addDays, type Day, daysBetween } from '../../../src/domain/day.ts'
import { defaultHouseRules } from '../../../src/domain/house-rules.ts'
import { decideLetters } from '../../../src/domain/notices/decide.ts'
import {
  defaultNoticeRules,
  type NoticeRuleKey,
  type NoticeRules,
  noticeRuleTable,
} from '../../../src/domain/notices/notice-rules.ts'
import { reachesItem, reachOfNoticeRule } from '../../../src/domain/notices/rule-reach.ts'
import type { OwnerState } from '../../../src/domain/notices/types.ts'
import type { Facts, HistoryEvent } from '../../../src/domain/reckoning/facts.ts'
import {
  type Centre,
  centre,
  day,
  inWords,
  night,
  nights,
  type OwnerOnFile,
  stateOf,
  type WatchOnFile,
} from './centre.ts'

// What must hold of letters whatever the facts: over random centres, run night by night.
const start = day('2026-06-01')
const dayNear = (from: number, to: number) => fc.integer({ min: from, max: to }).map((n) => addDays(start, n))
const partial = (d: Day) => d as never
const yesNo = fc.constantFrom('yes', 'no', 'unknown')

const event: fc.Arbitrary<HistoryEvent> = fc.oneof(
  {
    weight: 4,
    arbitrary: dayNear(-2200, -20).map((on) => ({
      event: 'complete-service' as const,
      on: partial(on),
      source: 'own-record' as const,
    })),
  },
  {
    weight: 4,
    arbitrary: dayNear(-900, -20).map((on) => ({
      event: 'cell-fitted' as const,
      on: partial(on),
      source: 'own-record' as const,
    })),
  },
  {
    weight: 3,
    arbitrary: dayNear(-800, -20).map((on) => ({
      event: 'water-test' as const,
      on: partial(on),
      source: 'own-record' as const,
      passed: true,
    })),
  },
  {
    weight: 1,
    arbitrary: dayNear(-300, 200).map((on) => ({
      event: 'case-opened' as const,
      on: partial(on),
      source: 'owner-word' as const,
      learned: on,
    })),
  },
  {
    weight: 1,
    arbitrary: fc
      .tuple(dayNear(-60, 200), fc.constantFrom('cell-dead', 'cell-leaking', 'loses-time', 'heavy-blow'))
      .map(([on, sign]) => ({
        event: 'sign' as const,
        on: partial(on),
        source: 'owner-word' as const,
        sign: sign as 'cell-dead',
        learned: on,
      })),
  },
)
const facts: fc.Arbitrary<Facts> = fc.record({
  watch: fc.record({
    kind: fc.constantFrom('hand-wound', 'self-winding', 'quartz'),
    beatsPerHour: fc.constantFrom(18_000, 28_800, 36_000),
    waterClaim: fc.constantFrom({ marked: 'none' as const }, { marked: 'rated' as const, bar: 20 }),
    firstSeen: dayNear(-1500, -1),
  }),
  wear: fc.record({
    daily: yesNo,
    vibration: yesNo,
    water: fc.constantFrom('never', 'now-and-then', 'often', 'unknown'),
    learned: dayNear(-1500, 100),
  }),
  history: fc.array(event, { maxLength: 6 }),
}) as fc.Arbitrary<Facts>

/** Something that happens at the counter on a day. */
interface Happening {
  readonly on: Day
  readonly what: 'refuses' | 'agrees' | 'comes-in' | 'goes-out' | 'dies' | 'no-address' | 'address'
  readonly which: number
}
const happening: fc.Arbitrary<Happening> = fc.record({
  on: dayNear(0, 330),
  what: fc.constantFrom('refuses', 'agrees', 'comes-in', 'goes-out', 'dies', 'no-address', 'address'),
  which: fc.nat(20),
})

interface Made {
  readonly owners: readonly { readonly hasPhone: boolean; readonly merged: boolean }[]
  readonly watches: readonly {
    readonly owner: number
    readonly facts: Facts
    readonly pair: boolean
    readonly declined: Day | null
    readonly appointment: Day | null
  }[]
  readonly happenings: readonly Happening[]
}
const made: fc.Arbitrary<Made> = fc.record({
  owners: fc.array(fc.record({ hasPhone: fc.boolean(), merged: fc.boolean() }), { minLength: 1, maxLength: 3 }),
  watches: fc.array(
    fc.record({
      owner: fc.nat(2),
      facts,
      pair: fc.boolean(),
      declined: fc.option(dayNear(-200, 100), { freq: 4 }),
      appointment: fc.option(dayNear(-30, 200), { freq: 4 }),
    }),
    { minLength: 1, maxLength: 5 },
  ),
  happenings: fc.array(happening, { maxLength: 6 }),
})

function build(m: Made, merging = true): Centre {
  const owners: OwnerOnFile[] = m.owners.map((o, i) => ({
    id: `o${i}`,
    hasPhone: o.hasPhone,
    ...(merging && o.merged && i > 0 ? { mergedInto: 'o0' } : {}),
  }))
  const watches: WatchOnFile[] = m.watches.map((w, i) => ({
    id: `w${i}`,
    ownerId: `o${w.owner % m.owners.length}`,
    facts: w.facts,
    doubtfulPair: w.pair && i === 0,
    appointmentOn: w.appointment,
    ...(w.declined ? { declined: { 'complete-service': w.declined, 'cell-change': w.declined } } : {}),
  }))
  return centre(owners, watches)
}

/** Applies what happens on a day; returns the owners touched. */
function happen(c: Centre, m: Made, today: Day): string[] {
  return m.happenings.flatMap((h) => {
    if (h.on !== today) return []
    const w = c.watches[h.which % c.watches.length]!
    const i = h.which % c.owners.length
    const owner = c.owners[i]!
    const put = (change: Partial<OwnerOnFile>, id = owner.id) => {
      const at = c.owners.findIndex((o) => o.id === id)
      c.owners[at] = { ...(c.owners[at] as OwnerOnFile), ...change }
    }
    const kept = (id: string) => c.owners.find((o) => o.id === id)?.mergedInto ?? id
    const all = (choice: 'yes' | 'no') => ({ 'complete-service': choice, 'water-check': choice, 'cell-change': choice })
    switch (h.what) {
      case 'refuses':
        put({ choices: all('no') })
        return [kept(owner.id)]
      case 'agrees':
        put({ choices: all('yes') })
        return [kept(owner.id)]
      case 'dies':
        put({ deceased: true })
        return [kept(owner.id)]
      case 'no-address':
        put({ hasAddress: false })
        return [kept(owner.id)]
      case 'address':
        put({ hasAddress: true })
        return [kept(owner.id)]
      case 'comes-in':
        w.inHouse = true
        return [kept(w.ownerId)]
      default:
        if (w.inHouse) put({ lastTicketClosedOn: today }, kept(w.ownerId))
        w.inHouse = false
        return [kept(w.ownerId)]
    }
  })
}

const year = (c: Centre, m: Made, skip: (today: Day) => boolean = () => false, lengthDays = 360) => {
  for (let n = 0; n < lengthDays; n++) {
    const today = addDays(start, n)
    happen(c, m, today)
    if (!skip(today)) night(c, today)
  }
}
const runs = { numRuns: 20 }
const often = ['letterRhythmDays', 'lettersAYear', 'assessAfterDays', 'doubtHoldDays', 'refusalQuietMonths']
const MANY = Number(process.env.PROPERTY_RUNS ?? 0) >= 100

describe('truths of letters', () => {
  it('running a night twice sends once and names the same letter', () => {
    fc.assert(
      fc.property(made, dayNear(0, 200), (m, today) => {
        const c = build(m)
        const first = [...night(c, today).values()]
        const fresh = build(m)
        expect([...night(fresh, today).values()]).toEqual(first)
        const withheld = c.withheld.length
        for (const again of night(c, today).values()) expect(again.letter).toBeNull()
        expect(c.withheld.length).toBe(withheld)
      }),
      { numRuns: 150 },
    )
  })

  it('no key twice, at most one reminder to an owner in thirty days, none to the dead, the refusing or the watch in the house', () => {
    fc.assert(
      fc.property(made, (m) => {
        const c = build(m)
        for (let n = 0; n < 360; n++) {
          const today = addDays(start, n)
          happen(c, m, today)
          for (const [id, { letter }] of night(c, today)) {
            if (letter === null) continue
            const owner = c.owners.find((o) => o.id === id) as OwnerOnFile
            expect(owner.deceased ?? false).toBe(false)
            expect(owner.choices?.['complete-service'] ?? 'yes').toBe('yes')
            expect(owner.hasAddress ?? true).toBe(true)
            for (const part of letter.parts)
              expect(c.watches.find((w) => w.id === part.watchId)?.inHouse ?? false).toBe(false)
            expect(letter.comeBy >= addDays(today, 7)).toBe(true)
          }
        }
        const last = new Map<string, Day>()
        for (const letter of c.letters.filter((l) => l.reminder)) {
          const before = last.get(letter.ownerId)
          if (before) expect(daysBetween(before, letter.runOn)).toBeGreaterThanOrEqual(30)
          last.set(letter.ownerId, letter.runOn)
        }
      }),
      runs,
    )
  })

  it('looking only at the days the decision asks for gives the letters of looking every night', () => {
    fc.assert(
      fc.property(made, (m) => {
        const every = build(m)
        year(every, m)
        const seldom = build(m)
        const looked = new Map<string, Day | null>()
        const windows = new Map<string, string>()
        let looks = 0
        for (let n = 0; n < 360; n++) {
          const today = addDays(start, n)
          const touched = happen(seldom, m, today)
          for (const owner of seldom.owners.filter((o) => o.mergedInto === undefined)) {
            const state = stateOf(seldom, owner.id, today)
            // a fact that comes to count rewrites the obligation, and the rewriting asks for another look
            const shape = JSON.stringify(
              state.watches.map((w) => w.obligations.map((o) => [o.kind, o.rule, o.cycle, o.noticesDueOn, o.stopOn])),
            )
            const rewritten = windows.get(owner.id) !== shape
            windows.set(owner.id, shape)
            const next = looked.get(owner.id)
            if (!rewritten && !touched.includes(owner.id) && (next === null || next === undefined || next > today))
              continue
            looks++
            const decision = decideLetters(state, seldom.setting, today)
            nightOf(seldom, owner.id, today)
            const days = decision.next
              .map((x) => x.nextNoticeOn)
              .filter((d): d is Day => d !== null)
              .sort()
            for (const d of days) expect(d > today).toBe(true)
            looked.set(owner.id, days[0] ?? null)
          }
        }
        expect(seldom.letters.map(inWords)).toEqual(every.letters.map(inWords))
        expect(looks).toBeLessThan(120 * seldom.owners.length)
      }),
      runs,
    )
  })

  it('a changed rule of the letters brings no letter forward but of what stands in its reach', () => {
    const moved = new Map<NoticeRuleKey, number>()
    fc.assert(
      fc.property(made, fc.record(anyNoticeRules), fc.record(anyNoticeRules), (m, first, then) => {
        const c = build(m)
        c.setting = { ...c.setting, rules: { ...defaultNoticeRules, ...first } }
        for (let n = 0; n < 240; n++) {
          const today = addDays(start, n)
          happen(c, m, today)
          if (n % 12 === 7) lookFor(c, today, then, moved)
          night(c, today)
        }
      }),
      { numRuns: MANY ? 150 : 12 },
    )
    // a reach that nothing ever exercised would prove nothing; rounds and folding need more runs than these
    if (MANY) expect([...moved.keys()]).toEqual(expect.arrayContaining([...often]))
  })

  it('a missed week loses no obligation and doubles no letter', () => {
    fc.assert(
      fc.property(made, dayNear(20, 200), (m, missed) => {
        const quiet = { ...m, happenings: [] }
        const all = build(quiet)
        year(all, quiet)
        const gap = build(quiet)
        year(gap, quiet, (today) => today >= missed && today < addDays(missed, 7))
        const written = (c: Centre, until: Day) =>
          new Set(
            c.booked
              .filter((b) => b.runOn <= until && b.booked !== 'rider')
              .map((b) => `${b.watchId} ${b.kind} ${b.cycle}`),
          )
        const caughtUp = written(gap, addDays(missed, 7 + 31))
        for (const key of written(all, addDays(missed, 6))) expect(caughtUp).toContain(key)
      }),
      runs,
    )
  })

  it('merging two records never raises the number of letters', () => {
    fc.assert(
      fc.property(made, (m) => {
        const still = { ...m, happenings: [], owners: m.owners.map((o) => ({ ...o, hasPhone: false })) }
        const apart = build(still, false)
        const merged = build(still)
        year(apart, still)
        year(merged, still)
        expect(merged.letters.length).toBeLessThanOrEqual(apart.letters.length)
      }),
      runs,
    )
  })
})

const anyNoticeRules = Object.fromEntries(
  Object.entries(noticeRuleTable).map(([key, { default: usual, min, max }]) => [
    key,
    fc.oneof(
      fc.constant(usual),
      fc.integer({ min: -40, max: 40 }).map((n) => Math.min(max, Math.max(min, usual + n))),
      fc.integer({ min, max }),
    ),
  ]),
) as Record<NoticeRuleKey, fc.Arbitrary<number>>

/** For every rule alone: an owner who would be written to, or looked at, sooner has something in its reach. */
function lookFor(c: Centre, today: Day, then: NoticeRules, moved: Map<NoticeRuleKey, number>): void {
  const soonest = (state: OwnerState, rules: NoticeRules): Day | null => {
    const { letter, next } = decideLetters(state, { ...c.setting, rules }, today)
    return letter ? today : (next.flatMap((x) => x.nextNoticeOn ?? []).sort()[0] ?? null)
  }
  for (const owner of c.owners.filter((o) => o.mergedInto === undefined)) {
    const state = stateOf(c, owner.id, today)
    const was = soonest(state, c.setting.rules)
    // the night comes by in any case
    if (was === today) continue
    for (const key of Object.keys(noticeRuleTable) as NoticeRuleKey[]) {
      const will = soonest(state, { ...c.setting.rules, [key]: then[key] })
      if (will === null || (was !== null && will >= was)) continue
      moved.set(key, (moved.get(key) ?? 0) + 1)
      const items = state.watches.flatMap((w) => w.obligations)
      const reached = items.some((item) => reachesItem(reachOfNoticeRule[key], item, defaultHouseRules, today))
      expect(reached, `${key} ${c.setting.rules[key]} to ${then[key]} on ${today}: ${was} to ${will}`).toBe(true)
    }
  }
}

function nightOf(c: Centre, ownerId: string, today: Day): void {
  const others = c.owners.filter((o) => o.id !== ownerId && o.mergedInto === undefined)
  const hidden = new Map(others.map((o) => [o.id, c.watches.filter((w) => w.ownerId === o.id)]))
  // the other owners' watches are out of sight for this one decision
  const all = [...c.watches]
  c.watches.splice(0, c.watches.length, ...all.filter((w) => ![...hidden.values()].flat().includes(w)))
  night(c, today)
  c.watches.splice(0, c.watches.length, ...all)
}

describe('the same year twice', () => {
  it('gives the same letters, night by night', () => {
    fc.assert(
      fc.property(made, (m) => {
        const [a, b] = [build(m), build(m)]
        nights(a, start, addDays(start, 120))
        nights(b, start, addDays(start, 120))
        expect(a.letters).toEqual(b.letters)
      }),
      { numRuns: 20 },
    )
  })
})
