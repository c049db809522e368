import { describe, expect, it } from 'vitest'
import { cellLifeMonths } from '../../../src/domain/reckoning/cell-life.ts'
import {
  about,
  ask,
  cellFitted,
  cellRemoved,
  failed,
  guidance,
  movementFitted,
  opened,
  rarelyWorn,
  rated,
  sealsReplaced,
  serviced,
  sign,
  TODAY,
  tested,
  unexposed,
  withdrawn,
} from './ask.ts'

const diver = { kind: 'quartz', ...rated(20) }
const swims = { wear: { water: 'often' } }
const word = { source: 'owner-word' }
const paper = { source: 'paper' }

describe('a cell reckoned on the decimals as sent', () => {
  it.each([
    [10.227, 0.6, 21], // floating point makes this 20.999999999999996
    [7.305, 4.5, 2], // and this 1.9999999999999998, in another order of working
    [0.2435, 0.3, 1],
    [28, 1.9, 18],
    [8.1166, 0.1, 99],
    [73.05, 90, 1],
    [73.05, 91, 0],
    [73.05, 0.9, 100],
    [0.000001, 1_000_000, 0],
    [1_000_000, 0.000001, 1_232_032_854_209],
    [73.049999, 0.9, 99],
  ])('%s mAh at %s µA is %i months at 90 percent', (capacity, consumption, months) => {
    expect(cellLifeMonths(capacity, consumption, 90)).toBe(months)
  })

  it('agrees with plain long division of whole numbers', () => {
    for (let tenths = 1; tenths <= 60; tenths++) {
      for (let thousandths = 700; thousandths < 60_000; thousandths += 997) {
        const exact = Number((90n * BigInt(thousandths)) / (BigInt(tenths) * 7305n))
        expect(cellLifeMonths(thousandths / 1000, tenths / 10, 90)).toBe(exact)
      }
    }
  })

  it('of nothing is due at once; above 240 months never decides, not even after a later best-before', () => {
    const fitted = (more: object) =>
      ask(about(diver, { history: [cellFitted('2026-06-10', { ...more })] })).of('cell-change')
    expect(fitted({ capacityMah: 73.05, consumptionMicroamps: 91 })).toMatchObject({
      rule: 'consumption',
      months: 0,
      dueOn: '2026-06-10',
    })
    expect(fitted({ capacityMah: 28 })).toMatchObject({ rule: 'usual' })
    const long = {
      history: [cellFitted('2010-06-10', { capacityMah: 1000, consumptionMicroamps: 5, bestBefore: '2199' })],
    }
    const maker = { guidance: [guidance('cell-change', 240, '2020-01-01')] }
    expect(ask(about(diver, { ...long, ...maker })).of('cell-change')).toMatchObject({ rule: 'maker', months: 240 })
  })

  it('gives the rule to the first of best-before, consumption, months on a tie', () => {
    const figures = { capacityMah: 19.48, consumptionMicroamps: 1 } // 24 months
    const on = (more: object) =>
      ask(about(diver, { history: [cellFitted('2025-06-10', { ...more })] })).of('cell-change')
    expect(on({ ...figures, bestBefore: '2027-06-10' })).toMatchObject({ rule: 'best-before', dueOn: '2027-06-10' })
    expect(on(figures)).toMatchObject({ rule: 'consumption', dueOn: '2027-06-10', months: 24 })
  })
})

describe('what is known and usable', () => {
  it('what was learned later is as if absent, without a word', () => {
    const late = {
      history: [serviced('2027-01-01', { learned: '2026-11-26' })],
      wear: { water: 'never', salt: 'yes', learned: '2026-11-26' },
    }
    const { answer, keeping } = ask(about(diver, late))
    expect(answer.warnings).toEqual([])
    expect(answer.obligations.map((o) => o.rule)).toEqual(['unknown-base', 'unknown-base', 'unknown-base'])
    expect(keeping('seals').reconsiderOn).toBe('2026-11-26')
  })

  it('warnings stand in their order', () => {
    const body = about(
      { kind: 'rechargeable-quartz', waterClaim: { marked: 'unknown' }, made: '2020-06', sold: '2020-05' },
      {
        wear: { water: 'in-water' },
        history: [serviced('2027'), tested('2020-05-31'), serviced('2020', { learned: '2020-05-31' }), opened('2020')],
      },
    )
    expect(ask(body).answer.warnings).toEqual([
      { code: 'contradiction', fact: 'watch.sold' },
      { code: 'future-dated', history: 0 },
      { code: 'contradiction', history: 1 },
      { code: 'contradiction', history: 2 },
      { code: 'keep-dry' },
      { code: 'never-a-primary-cell' },
    ])
    expect(ask(about({ kind: 'quartz', made: '2027', sold: '2028' })).answer.warnings).toEqual([
      { code: 'future-dated', fact: 'watch.made' },
      { code: 'future-dated', fact: 'watch.sold' },
    ])
    expect(ask(about({ kind: 'quartz', made: '2020-06', sold: '2020' })).answer.warnings).toEqual([])
    const claimless = { kind: 'quartz', waterClaim: { marked: 'none' } }
    expect(ask(about(claimless, { wear: { water: 'never', chlorine: 'yes' } })).answer.warnings).toEqual([
      { code: 'contradiction', fact: 'wear.water' },
    ])
  })

  it('a date of making still to come does not set anything aside, until it comes', () => {
    const body = about({ kind: 'hand-wound', made: '2026-12' }, { history: [serviced('2024-06')] })
    expect(ask(body).of('complete-service')).toMatchObject({ baseOn: '2024-06-01' })
    expect(ask(body).keeping('complete-service').reconsiderOn).toBe('2026-12-01')
    expect(ask({ ...body, on: '2026-12-01' }).of('complete-service')).toMatchObject({ baseFrom: 'made' })
  })

  it("an event's last day is at most the day it was learned, but never before its first", () => {
    const openedIn = (learned: string) =>
      ask(about(diver, { ...swims, history: [tested('2026-06-20'), opened('2026-06', { ...word, learned })] })).of(
        'water-check',
      ).rule
    expect(openedIn('2026-06-21')).toBe('opened-since-test')
    expect(openedIn('2026-06-20')).toBe('hard-use')
    expect(openedIn('2020-01-01')).toBe('hard-use')
  })

  it('the last day is not cut off at the day of asking', () => {
    const body = about(diver, { ...swims, history: [tested(TODAY), opened('2026-11')] })
    expect(ask(body).of('water-check')).toMatchObject({ rule: 'opened-since-test', dueOn: '2026-11-01' })
  })
})

describe('newer: day, then source, then place in the list', () => {
  it.each([
    [[serviced('2024-06', word), serviced('2024-06-01', paper)], 'paper'],
    [[serviced('2024-06-01', paper), serviced('2024-06', word)], 'paper'],
    [[serviced('2024-06-01'), serviced('2024-06-02', word)], 'owner-word'],
  ])('%j counts from %s', (history, from) => {
    expect(ask(about({ kind: 'hand-wound' }, { history })).of('complete-service').baseFrom).toBe(from)
  })

  it('of two alike on one day the later in the list counts', () => {
    const fitted = (...cells: object[]) => ask(about({ kind: 'quartz' }, { history: cells })).of('cell-change').dueOn
    const one = cellFitted('2026-06-10', { bestBefore: '2027-01-01' })
    const other = cellFitted('2026-06-10', { bestBefore: '2027-03-01' })
    expect([fitted(one, other), fitted(other, one)]).toEqual(['2027-03-01', '2027-01-01'])
  })

  it('of guidance the latest in force wins, then the later in the list; of notes likewise', () => {
    const maker = (rows: object[], notes: object[] = []) =>
      ask(about({ kind: 'hand-wound' }, { guidance: rows, notes, history: [serviced('2022-06-10')] })).of(
        'complete-service',
      )
    const row = (months: number, from: string) => guidance('complete-service', months, from)
    expect(maker([row(70, '2024-01-01'), row(50, '2023-01-01')]).months).toBe(70)
    expect(maker([row(70, '2024-01-01'), row(50, '2024-01-01')]).months).toBe(50)
    const note = (months: number, on: string) => ({ obligation: 'complete-service', months, on })
    expect(maker([], [note(20, '2023-01-01'), note(40, '2023-01-01')])).toMatchObject({ rule: 'note', months: 40 })
    expect(maker([], [note(20, '2023-01-01'), note(60, '2024-01-01')])).toMatchObject({ rule: 'usual', months: 60 })
    expect(maker([], [note(80, '2024-01-01')])).toMatchObject({ rule: 'usual', months: 60 })
    expect(maker([], [note(20, '2022-06-09')])).toMatchObject({ rule: 'usual' })
  })
})

describe('complete service', () => {
  it('sold long after it was made counts from made and 24 months, but stays sold', () => {
    const watch = (sold: string) => ask(about({ kind: 'quartz', made: '2018-02', sold })).of('complete-service')
    expect(watch('2020-02-01')).toMatchObject({ baseOn: '2020-02-01', baseFrom: 'sold' })
    expect(watch('2021')).toMatchObject({ baseOn: '2020-02-01', baseFrom: 'sold' })
    expect(watch('2019-05')).toMatchObject({ baseOn: '2019-05-01', baseFrom: 'sold' })
  })

  it('a fitting of unknown condition leaves nothing to count from; only signs after it count', () => {
    const history = [serviced('2025-01-01'), sign('loses-time', '2025-03-01'), movementFitted('2025-06-10')]
    const body = about({ kind: 'hand-wound', firstSeen: '2020-01-01' }, { history })
    expect(ask(body).of('complete-service')).toMatchObject({ rule: 'unknown-base', dueOn: '2025-06-10' })
    const again = { ...body, history: [...history, sign('loses-time', '2025-07-01')] }
    expect(ask(again).of('complete-service')).toMatchObject({ rule: 'trouble', baseOn: null, dueOn: '2025-07-01' })
    const since = { ...body, history: [...history, serviced('2025-06-10', word)] }
    expect(ask(since).of('complete-service')).toMatchObject({ rule: 'usual', baseFrom: 'owner-word' })
  })

  it('stopped is trouble only where there is no cell', () => {
    const stopped = (kind: string) =>
      ask(about({ kind }, { history: [serviced('2025-01-01'), sign('stopped', '2026-06-10')] })).of('complete-service')
        .rule
    expect(['hand-wound', 'self-winding', 'spring-quartz'].map(stopped)).toEqual(['trouble', 'trouble', 'trouble'])
    expect(['quartz', 'electric', 'rechargeable-quartz'].map(stopped)).toEqual(['quartz', 'usual', 'quartz'])
  })

  it('a date that was due before the sign stays due, but the rule is trouble', () => {
    const history = [serviced('2019-06-10'), sign('loses-time', '2026-06-10')]
    expect(ask(about({ kind: 'hand-wound' }, { history })).of('complete-service')).toMatchObject({
      rule: 'trouble',
      dueOn: '2024-06-10',
      months: null,
      baseOn: '2019-06-10',
      noticesDueOn: '2026-06-10',
    })
  })

  it('a sign on the day of the work is settled', () => {
    const history = [serviced('2025-06-10'), sign('loses-time', '2025-06-10')]
    expect(ask(about({ kind: 'hand-wound' }, { history })).of('complete-service').rule).toBe('usual')
  })
})

describe('water check', () => {
  const check = (history: object[], more: object = swims) => ask(about(diver, { ...more, history }))

  it('a failure is settled by what came after in the list, whatever the sources, and not before its last day', () => {
    const rule = (...history: object[]) => check(history).of('water-check').rule
    expect(rule(failed('2026-06-10'), tested('2026-06-10', paper))).toBe('hard-use')
    expect(rule(tested('2026-06-10'), failed('2026-06-10', word))).toBe('not-resistant')
    expect(rule(failed('2026-06-10', word), tested('2026-06-11', word))).toBe('not-resistant')
    expect(rule(failed('2026-06-10'), serviced('2026-06-11'))).toBe('hard-use')
    expect(rule(withdrawn('2026-06-10'), serviced('2026-06-11'))).toBe('not-resistant')
    expect(rule(failed('2026-06'), tested('2026-06-29'))).toBe('not-resistant')
    expect(rule(failed('2026-06'), tested('2026-06-30'))).toBe('hard-use')
  })

  it('not resistant and not used in water: no obligation, before never-in-water', () => {
    expect(check([failed('2026-06-10')], { wear: { water: 'never' } }).without('water-check')).toBe('not-resistant')
  })

  it("an owner's word of a test is a base, but settles nothing", () => {
    const history = [tested('2026-05-01'), opened('2026-06-10'), tested('2026-06-11', word)]
    expect(check(history).of('water-check')).toMatchObject({ rule: 'opened-since-test', dueOn: '2026-06-10' })
    expect(check([tested('2026-06-11', word)]).of('water-check')).toMatchObject({
      rule: 'hard-use',
      baseFrom: 'owner-word',
    })
  })

  it('of an opening and a sign the earlier gives the rule; the last word is of both', () => {
    const both = (openedOn: string, blowOn: string) =>
      check([tested('2026-01-01'), sign('crown-knock', blowOn, { learned: '2026-08-01' }), opened(openedOn)]).of(
        'water-check',
      )
    expect(both('2026-06-11', '2026-06-10')).toMatchObject({
      rule: 'trouble',
      baseOn: '2026-06-10',
      baseFrom: 'owner-word',
    })
    expect(both('2026-06-10', '2026-06-10')).toMatchObject({ rule: 'opened-since-test', noticesDueOn: '2026-08-01' })
  })

  it('the date of step 5, where earlier, is due, but the rule stays', () => {
    const history = [tested('2024-01-10'), opened('2026-06-10')]
    expect(check(history).of('water-check')).toMatchObject({
      rule: 'opened-since-test',
      dueOn: '2025-01-10',
      months: null,
      baseOn: '2026-06-10',
    })
  })

  it('a low or unknown rating, use unknown: nothing, unless it was opened', () => {
    const watch = (bar: number | null) => ({ kind: 'quartz', sold: '2025-01-01', waterClaim: { marked: 'rated', bar } })
    const of = (bar: number | null, history: object[] = []) => ask(about(watch(bar), { history }))
    expect(of(9.999).without('water-check')).toBe('use-unknown-low-rating')
    expect(of(null).without('water-check')).toBe('use-unknown-low-rating')
    expect(of(10).of('water-check').rule).toBe('use-unknown')
    expect(of(null, [opened('2026-06-10')]).of('water-check')).toMatchObject({ rule: 'opened-since-test' })
  })

  it('salt with water unknown is use in water; with water never it is a contradiction', () => {
    expect(check([tested('2026-01-01')], { wear: { salt: 'yes' } }).of('water-check').rule).toBe('hard-use')
    expect(check([tested('2026-01-01')], { wear: { salt: 'yes' } }).of('seals').rule).toBe('unknown-base')
    const never = check([tested('2026-01-01')], { wear: { salt: 'yes', water: 'never' } })
    expect(never.without('water-check')).toBe('never-in-water')
    expect(never.without('seals')).toBe('not-used-in-water')
  })

  it("the maker's upper end holds only for easy wear known as such", () => {
    const upper = { guidance: [guidance('water-check', 12, '2020-01-01', { upToMonths: 36 })] }
    const easy = { water: 'now-and-then', salt: 'no', chlorine: 'no', hotWater: 'no' }
    const months = (wear: object) => check([tested('2026-01-01')], { ...upper, wear }).of('water-check').months
    expect([
      months(easy),
      ...['salt', 'chlorine', 'hotWater'].map((fact) => months({ ...easy, [fact]: 'unknown' })),
      months({ ...easy, water: 'in-water' }),
    ]).toEqual([36, 12, 12, 12, 12])
  })

  it('seals: the newest of new seals and a service, by the lower end', () => {
    const rows = { guidance: [guidance('seals', 30, '2020-01-01', { upToMonths: 60 })] }
    const history = [serviced('2025-03-01'), sealsReplaced('2025-02-01')]
    expect(check(history, rows).of('seals')).toMatchObject({ rule: 'maker', months: 30, baseOn: '2025-03-01' })
  })
})

describe('cell change', () => {
  const cell = (history: object[], kind = 'quartz') => ask(about({ kind }, { history }))

  it('removed: only if it came after every fitting, by day and then by the list', () => {
    expect(cell([cellFitted('2025-06-10', paper), cellRemoved('2025-06-10', word)]).without('cell-change')).toBe(
      'cell-removed',
    )
    expect(cell([cellRemoved('2025-06-10'), movementFitted('2025-06-10', word)]).of('cell-change').rule).toBe('usual')
    expect(cell([cellRemoved('2025-06-10')]).without('cell-change')).toBe('cell-removed')
  })

  it('on one day the cell goes before the movement, whatever the sources', () => {
    const history = [cellFitted('2025-06-10', { ...word, bestBefore: '2026' }), movementFitted('2025-06-10')]
    expect(cell(history).of('cell-change')).toMatchObject({ rule: 'best-before', baseFrom: 'owner-word' })
  })

  it('a date that was due before the sign stays due', () => {
    const history = [cellFitted('2024-01-05'), sign('cell-dead', '2026-06-10')]
    expect(cell(history).of('cell-change')).toMatchObject({
      rule: 'spent',
      dueOn: '2026-01-05',
      noticesDueOn: '2026-06-10',
    })
  })

  it('a best-before known to the month is its last day', () => {
    expect(cell([cellFitted('2026-01-05', { bestBefore: '2027-02' })]).of('cell-change').dueOn).toBe('2027-02-28')
  })

  it('the gravest sign gives the rule, the earliest the day', () => {
    const signs = [
      sign('cell-end-of-life', '2026-06-10'),
      sign('stopped', '2026-07-01'),
      sign('cell-leaking', '2026-08-01'),
    ]
    const of = (...which: number[]) =>
      cell([cellFitted('2026-01-05'), ...which.map((i) => signs[i] as object)]).of('cell-change')
    expect(of(0, 1, 2)).toMatchObject({ rule: 'leaking', dueOn: '2026-06-10', noticesDueOn: '2026-08-01' })
    expect(of(0, 1)).toMatchObject({ rule: 'spent', dueOn: '2026-06-10', baseOn: '2026-01-05' })
    expect(of(2, 1, 0)).toMatchObject({ rule: 'leaking' })
    expect(of(0)).toMatchObject({ rule: 'end-of-life' })
  })
})

describe('the day letters count from', () => {
  const hand = { kind: 'hand-wound' }
  const service = (rest: object, watch: object = hand) => ask(about({ ...watch }, { ...rest })).of('complete-service')

  it('ninety days after the base was learned', () => {
    const history = [serviced('2020-06-10', { ...paper, learned: '2026-11-01' })]
    expect(service({ history })).toMatchObject({ dueOn: '2025-06-10', noticesDueOn: '2027-01-30' })
    const inTime = [serviced('2020-06-10', { ...paper, learned: '2025-06-10' })]
    expect(service({ history: inTime })).toMatchObject({ noticesDueOn: '2025-06-10' })
  })

  it('wear counts for the rules that rest on it, and for no other', () => {
    const learned = '2026-11-01'
    const history = [serviced('2019-06-10')]
    const on = (wear: object, rest: object = {}, watch: object = hand) =>
      service({ history, wear: { ...wear, learned }, ...rest }, watch).noticesDueOn
    const fair = '2027-01-30'
    expect([on({}), on({ heat: 'yes' }), on(rarelyWorn)]).toEqual([fair, fair, fair])
    expect(on(rarelyWorn, {}, { kind: 'hand-wound', beatsPerHour: 36_000 })).toBe('2022-06-10')
    expect(on({}, {}, { kind: 'electric' })).toBe('2024-06-10')
    expect(on({}, {}, { kind: 'quartz' })).toBe('2026-06-10')
    const range = [guidance('complete-service', 60, '2018-01-01', { upToMonths: 84 })]
    expect(on({}, { guidance: range })).toBe(fair)
    expect(on({}, { guidance: [guidance('complete-service', 60, '2018-01-01')] })).toBe('2024-06-10')
    const note = [{ obligation: 'complete-service', months: 12, on: '2026-10-01' }]
    expect(on(unexposed, { notes: note })).toBe('2026-12-30')
  })

  it('guidance that only repeats itself is not news', () => {
    const rows = (...list: [number, string, object?][]) =>
      service({
        history: [serviced('2021-06-10')],
        guidance: list.map(([months, from, more]) => guidance('complete-service', months, from, { ...more })),
      }).noticesDueOn
    expect(rows([48, '2020-01-01'], [48, '2026-10-01'])).toBe('2025-06-10')
    expect(rows([48, '2020-01-01'], [84, '2026-09-01'], [48, '2026-10-01'])).toBe('2026-12-30')
    expect(rows([48, '2020-01-01', { upToMonths: 60 }], [48, '2026-10-01'])).toBe('2026-12-30')
    expect(rows([48, '2020-01-01', { learned: '2026-11-01' }], [48, '2026-10-01'])).toBe('2026-12-30')
  })

  it('never waits for a best-before', () => {
    const history = [cellFitted('2025-01-01', { learned: '2026-11-01', bestBefore: '2026-06-10' })]
    expect(ask(about(diver, { history })).of('cell-change')).toMatchObject({
      rule: 'best-before',
      noticesDueOn: '2026-06-10',
    })
  })

  it('born late: where asking would have ended by the day it was first seen', () => {
    const first = (firstSeen: string) => service({ history: [serviced('2019-06-10')] }, { ...hand, firstSeen })
    expect(first('2025-06-09')).toMatchObject({ noticesDueOn: '2024-06-10', standing: 'asked-enough' })
    expect(first('2025-06-10')).toMatchObject({ noticesDueOn: '2025-06-10', standing: 'asked-enough' })
    expect(first('2026-11-01')).toMatchObject({ dueOn: '2024-06-10', noticesDueOn: '2026-11-01', standing: 'due' })
  })

  it('the ordinary day takes over from a sign nobody heeded, on the day it comes', () => {
    const history = [serviced('2020-06-10'), sign('loses-time', '2023-01-10', { learned: '2023-02-01' })]
    const at = (on: string) => ask({ ...about(hand, { history }), on })
    expect(at('2025-06-09').of('complete-service')).toMatchObject({
      noticesDueOn: '2023-02-01',
      standing: 'asked-enough',
    })
    expect(at('2025-06-09').keeping('complete-service')).toMatchObject({
      reconsiderOn: '2025-06-10',
      noticesBy: 'last-word',
    })
    expect(at('2025-06-10').of('complete-service')).toMatchObject({
      rule: 'trouble',
      dueOn: '2023-01-10',
      noticesDueOn: '2025-06-10',
      comingUpFrom: '2025-06-10',
      standing: 'due',
    })
    expect(at('2025-06-10').keeping('complete-service')).toMatchObject({
      noticesBy: 'ordinary-day',
      eventOn: '2023-01-10',
      lastWordOn: '2023-02-01',
    })
  })

  it('an ordinary day that lies before the asking ends never takes over', () => {
    const history = [serviced('2020-06-10'), sign('loses-time', '2024-12-01')]
    expect(service({ history })).toMatchObject({ noticesDueOn: '2024-12-01', standing: 'asked-enough' })
  })

  it('of a cell the ordinary day is that of its earliest date; not-resistant has none', () => {
    const history = [cellFitted('2025-01-01', { bestBefore: '2026-06-10' }), sign('cell-dead', '2025-03-01')]
    expect(ask(about(diver, { history })).of('cell-change')).toMatchObject({
      rule: 'spent',
      noticesDueOn: '2026-06-10',
    })
    const water = { ...swims, history: [tested('2024-01-01'), failed('2024-02-01')] }
    expect(ask(about(diver, water)).of('water-check')).toMatchObject({ noticesDueOn: '2024-02-01' })
  })
})
