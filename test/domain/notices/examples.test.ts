import { describe, expect, it } from 'vitest'
import type { Facts } from '../../../src/domain/reckoning/facts.ts'
import { centre, day, dueParts, inWords, night, nights, stateOf } from './centre.ts'

// The trade's worked examples of letters (common practice, no source), on Wednesday 2026-11-25.
const today = day('2026-11-25')
const long = day('2015-01-01')
const partial = (text: string) => text as never

const quartz = (cell: string, service = '2024-06-01', more: Partial<Facts> = {}): Facts => ({
  watch: { kind: 'quartz', firstSeen: long },
  history: [
    { event: 'complete-service', on: partial(service), source: 'own-record' },
    { event: 'cell-fitted', on: partial(cell), source: 'own-record' },
  ],
  ...more,
})
const handWound = (service: string, more: Partial<Facts> = {}): Facts => ({
  watch: { kind: 'hand-wound', beatsPerHour: 18_000, firstSeen: long },
  history: [{ event: 'complete-service', on: partial(service), source: 'own-record' }],
  ...more,
})
const diver = (tested: string): Facts => ({
  watch: { kind: 'self-winding', beatsPerHour: 28_800, waterClaim: { marked: 'rated', bar: 20 }, firstSeen: long },
  wear: { water: 'often', learned: long },
  history: [
    { event: 'complete-service', on: partial('2025-10-01'), source: 'own-record' },
    { event: 'water-test', on: partial(tested), source: 'own-record', passed: true },
  ],
})

describe('worked examples of letters', () => {
  it('a ticket closed without the cell change: next letter thirty days after the visit', () => {
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: quartz('2024-12-01'), inHouse: true }])
    nights(c, day('2026-10-17'), day('2026-12-17'))
    expect(c.letters).toEqual([])
    expect(c.withheld.find((x) => x.runOn === '2026-10-17')).toMatchObject({ stage: '1', reasons: ['watch-in-house'] })
    c.watches[0]!.inHouse = false
    c.owners[0] = { id: 'a', lastTicketClosedOn: day('2026-12-18') }
    nights(c, day('2026-12-18'), day('2027-02-10'))
    expect(c.letters.map(inWords)).toEqual(['2027-01-17: w cell-change 2 → 2027-01-24'])
    expect(dueParts(c.letters[0]!)[0]?.skips).toEqual(['1'])
  })

  it('an owner who refused reminders: everything reckoned, nothing written, the reason booked', () => {
    const no = { 'complete-service': 'no', 'water-check': 'no', 'cell-change': 'no' } as const
    const c = centre([{ id: 'a', choices: no }], [{ id: 'w', ownerId: 'a', facts: quartz('2024-11-30') }])
    night(c, today)
    expect(c.letters).toEqual([])
    expect(c.withheld.map((x) => [x.kind, x.reasons])).toEqual([['cell-change', ['letters-refused']]])
    expect(stateOf(c, 'a', today).watches[0]?.obligations.map((o) => o.kind)).toEqual([
      'complete-service',
      'cell-change',
    ])
  })

  it('sold on: the new owner is asked by the ninety days of fairness, from 2026-12-01', () => {
    const known = day('2026-11-01')
    const facts: Facts = {
      watch: { kind: 'hand-wound', beatsPerHour: 18_000, firstSeen: known },
      wear: { learned: known },
      history: [
        { event: 'complete-service', on: partial('2020-09-30'), source: 'own-record', learned: day('2020-09-30') },
      ],
    }
    const c = centre([{ id: 'old' }, { id: 'new' }], [{ id: 'w', ownerId: 'new', facts }])
    nights(c, day('2026-11-01'), day('2026-12-31'))
    expect(c.letters.map((l) => [l.ownerId, inWords(l)])).toEqual([
      ['new', '2026-12-01: w complete-service 1 → 2027-01-30'],
    ])
    expect(dueParts(c.letters[0]!)[0]).toMatchObject({
      reckonedDueOn: '2025-09-30',
      dueOn: '2027-01-30',
      standing: 'coming-up',
    })
  })

  it('two records of one person: the later one waits at most fourteen days; merged, one letter for two watches', () => {
    const make = () =>
      centre(
        [{ id: 'a' }, { id: 'b' }],
        [
          { id: 'w1', ownerId: 'a', facts: quartz('2024-12-20') },
          { id: 'w2', ownerId: 'b', facts: quartz('2024-12-22'), doubtfulPair: true },
        ],
      )
    const apart = make()
    nights(apart, day('2026-11-05'), day('2026-11-30'))
    expect(apart.letters.map((l) => [l.ownerId, l.runOn])).toEqual([
      ['a', '2026-11-05'],
      ['b', '2026-11-21'],
    ])
    expect(apart.withheld[0]).toMatchObject({ runOn: '2026-11-07', reasons: ['doubtful-pair'] })
    const merged = make()
    merged.owners[1]!.mergedInto = 'a'
    merged.watches[1]!.doubtfulPair = false
    nights(merged, day('2026-11-05'), day('2026-11-30'))
    expect(merged.letters.map(inWords)).toEqual(['2026-11-05: w1 cell-change 1, w2 cell-change 1 → 2026-12-20'])
  })

  it('three watches of one owner gather into one letter on the first letter day', () => {
    const c = centre(
      [{ id: 'a' }],
      [
        { id: 'cell', ownerId: 'a', facts: quartz('2025-01-10') },
        { id: 'dive', ownerId: 'a', facts: diver('2025-12-20') },
        { id: 'hand', ownerId: 'a', facts: handWound('2022-01-20') },
      ],
    )
    nights(c, day('2026-11-01'), day('2026-12-19'))
    expect(c.letters.map(inWords)).toEqual([
      '2026-11-20: cell cell-change 1, dive water-check 1, hand complete-service 1 → 2026-12-20',
    ])
    expect(
      stateOf(c, 'a', day('2026-11-19')).watches.map(
        (w) => w.obligations.at(w.watchId === 'dive' ? 1 : -1)?.letterDays[0],
      ),
    ).toEqual(['2026-11-26', '2026-11-20', '2026-11-21'])
  })

  const quartzDiver: Facts = {
    watch: { kind: 'quartz', waterClaim: { marked: 'rated', bar: 20 }, firstSeen: long },
    wear: { water: 'often', learned: long },
    history: [
      { event: 'complete-service', on: partial('2019-12-10'), source: 'own-record' },
      { event: 'cell-fitted', on: partial('2024-11-30'), source: 'own-record' },
      { event: 'water-test', on: partial('2026-01-15'), source: 'own-record', passed: true },
    ],
  }

  it('service, cell and water check of one watch fold into one visit, at the earliest letter day of them', () => {
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: quartzDiver }])
    nights(c, day('2026-09-01'), day('2026-12-09'))
    expect(c.letters.map(inWords)).toEqual([
      '2026-10-11: w cell-change 1 under complete-service, w water-check 1 under complete-service, w complete-service 1 → 2026-11-30',
    ])
  })

  it('the same first written on 2026-11-25 asks for a week from then', () => {
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: quartzDiver }])
    night(c, today)
    expect(c.letters[0]?.comeBy).toBe('2026-12-02')
  })

  it('radium changes nothing in the dates: due 2026-12-05, first letter from 2026-10-06', () => {
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: handWound('2021-12-05') }])
    nights(c, day('2026-09-01'), today)
    expect(c.letters.map(inWords)).toEqual(['2026-10-06: w complete-service 1 → 2026-12-05'])
  })

  it('the owner has died: from the day it is told nothing is written, every item names the reason', () => {
    const c = centre(
      [{ id: 'a' }],
      [
        { id: 'w1', ownerId: 'a', facts: quartz('2024-12-20') },
        { id: 'w2', ownerId: 'a', facts: handWound('2022-01-20'), inHouse: true },
      ],
    )
    c.owners[0] = { id: 'a', deceased: true }
    nights(c, day('2026-11-02'), day('2026-12-31'))
    expect(c.letters).toEqual([])
    expect(c.withheld.find((x) => x.watchId === 'w2')?.reasons).toEqual(['owner-deceased', 'watch-in-house'])
  })

  it('cell removed: no cell obligation; the service was asked enough long ago', () => {
    const facts: Facts = {
      watch: { kind: 'quartz', firstSeen: long },
      history: [
        { event: 'complete-service', on: partial('2018-05-31'), source: 'own-record' },
        { event: 'cell-removed', on: partial('2025-08-01'), source: 'own-record' },
      ],
    }
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts, state: 'stored-cell-removed' }])
    const decided = night(c, today).get('a')
    expect(decided).toMatchObject({ letter: null, withheld: [] })
    expect(decided?.next).toEqual([{ watchId: 'w', kind: 'complete-service', nextNoticeOn: null }])
  })

  it('a service dated in the future is set aside; the letter waits fourteen days, then goes with careful words', () => {
    const facts = handWound('2021-05-04', {
      history: [
        { event: 'complete-service', on: partial('2027-01-12'), source: 'own-record' },
        { event: 'complete-service', on: partial('2021-05-04'), source: 'own-record' },
      ],
    })
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts }])
    nights(c, today, day('2026-12-20'))
    expect(c.withheld.every((x) => x.runOn < '2026-12-09')).toBe(true)
    expect(c.letters.map(inWords)).toEqual(['2026-12-09: w complete-service 3 → 2026-12-16'])
    expect(dueParts(c.letters[0]!)[0]).toMatchObject({ unsure: true, dueOn: '2026-05-04', skips: ['1', '2'] })
  })
})
