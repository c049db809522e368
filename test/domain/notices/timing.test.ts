import { describe, expect, it } from 'vitest'
import { addDays } from '../../../src/domain/day.ts'
import { cycleOf } from '../../../src/domain/notices/cycles.ts'
import { decideLetters } from '../../../src/domain/notices/decide.ts'
import { defaultNoticeRules, isQuietDay } from '../../../src/domain/notices/notice-rules.ts'
import type { Facts, Sign } from '../../../src/domain/reckoning/facts.ts'
import { centre, day, dueParts, inWords, night, nights, stateOf } from './centre.ts'

// House rules of our own on top of common practice of the trade, no source; days counted by hand.
const long = day('2015-01-01')
const partial = (text: string) => text as never

const handWound = (service: string, more: Partial<Facts> = {}): Facts => ({
  watch: { kind: 'hand-wound', beatsPerHour: 18_000, firstSeen: long },
  history: [{ event: 'complete-service', on: partial(service), source: 'own-record' }],
  ...more,
})
const quartzWithSign = (sign: Sign, on: string, more: Partial<Facts> = {}): Facts => ({
  watch: { kind: 'quartz', firstSeen: long },
  history: [
    { event: 'complete-service', on: partial('2025-01-10'), source: 'own-record' },
    { event: 'cell-fitted', on: partial('2026-01-05'), source: 'own-record' },
    { event: 'sign', on: partial(on), source: 'owner-word', sign, learned: day(on) },
  ],
  ...more,
})
const letters = (c: ReturnType<typeof centre>) => c.letters.map(inWords)

describe('stages, rounds and missed runs', () => {
  it('three letters of a service, sixty days before, thirty and a hundred and eighty after', () => {
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: handWound('2021-11-30') }])
    nights(c, day('2026-09-01'), day('2028-06-01'))
    expect(letters(c)).toEqual([
      '2026-10-01: w complete-service 1 → 2026-11-30',
      '2026-12-30: w complete-service 2 → 2027-01-06',
      '2027-05-29: w complete-service 3 → 2027-06-05',
    ])
    expect(c.letters.map((l) => dueParts(l)[0]?.wentOut)).toEqual(['none', 'one', 'more'])
    expect(new Set(c.booked.map((b) => b.round))).toEqual(new Set(['2026-10-01']))
  })

  it('after half a year without a run only the latest stage goes; the earlier ones are booked as skipped', () => {
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: handWound('2021-11-30') }])
    nights(c, day('2026-09-01'), day('2027-07-01'), (today) => today > '2026-09-15' && today < '2027-06-02')
    expect(letters(c)).toEqual(['2027-06-02: w complete-service 3 → 2027-06-09'])
    expect(c.booked.map((b) => [b.stage, b.booked])).toEqual([
      ['1', 'skipped'],
      ['2', 'skipped'],
      ['3', 'letter'],
    ])
  })

  it('a date that moves far away is asked for afresh, and the next letter of any kind withdraws the old date', () => {
    const guidance = [
      {
        obligation: 'complete-service' as const,
        months: 60,
        inForceFrom: day('2020-01-01'),
        learned: day('2020-01-01'),
      },
      {
        obligation: 'complete-service' as const,
        months: 84,
        inForceFrom: day('2026-08-01'),
        learned: day('2026-08-01'),
      },
    ]
    const c = centre(
      [{ id: 'a' }],
      [
        { id: 'w', ownerId: 'a', facts: handWound('2021-09-01', { guidance }) },
        { id: 'x', ownerId: 'a', facts: handWound('2022-01-20') },
      ],
    )
    nights(c, day('2026-06-01'), day('2028-08-01'), (today) => today > '2027-01-01' && today < '2028-06-01')
    expect(letters(c)).toEqual([
      '2026-07-03: w complete-service 1 → 2026-09-01',
      '2026-11-21: x complete-service 1, w moved-later → 2027-01-20',
      '2028-07-03: w complete-service 1 → 2028-09-01',
    ])
    expect(c.letters[1]?.parts[1]).toMatchObject({ toldDueOn: '2026-09-01', dueOn: '2028-09-01', round: '2026-07-03' })
    expect(dueParts(c.letters[2]!)[0]).toMatchObject({ round: '2028-07-03', wentOut: 'none' })
  })

  it('a round opened before the sentence could ride makes it lapse', () => {
    const guidance = [
      {
        obligation: 'complete-service' as const,
        months: 60,
        inForceFrom: day('2020-01-01'),
        learned: day('2020-01-01'),
      },
      {
        obligation: 'complete-service' as const,
        months: 84,
        inForceFrom: day('2026-08-01'),
        learned: day('2026-08-01'),
      },
    ]
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: handWound('2021-09-01', { guidance }) }])
    nights(c, day('2026-06-01'), day('2028-08-01'), (today) => today > '2026-09-01' && today < '2028-06-01')
    expect(letters(c)).toEqual([
      '2026-07-03: w complete-service 1 → 2026-09-01',
      '2028-07-03: w complete-service 1 → 2028-09-01',
    ])
  })

  it('a later stage is gathered only once its due day has come', () => {
    const c = centre(
      [{ id: 'a' }],
      [
        { id: 'w', ownerId: 'a', facts: handWound('2021-11-30') },
        { id: 'x', ownerId: 'a', facts: handWound('2022-02-05') },
      ],
    )
    nights(c, day('2026-10-05'), day('2026-12-29'))
    // x on 2026-12-07 (sixty days before 2027-02-05) takes along w's second letter, due on 2026-12-30
    expect(letters(c)).toEqual([
      '2026-10-05: w complete-service 1 → 2026-11-30',
      '2026-12-07: w complete-service 2, x complete-service 1 → 2026-12-14',
    ])
  })
})

describe('a cell that gave a sign', () => {
  it('is called about first: with a telephone the letter waits two days for the task', () => {
    const facts = quartzWithSign('cell-leaking', '2026-11-20')
    const open = centre([{ id: 'a', hasPhone: true }], [{ id: 'w', ownerId: 'a', facts, call: 'open' }])
    nights(open, day('2026-11-20'), day('2026-12-31'))
    expect(open.letters.map((l) => [l.runOn, dueParts(l)[0]?.stage])).toEqual([
      ['2026-11-22', '1'],
      ['2026-11-27', '2'],
      ['2026-12-11', '3'],
    ])
    const done = centre([{ id: 'a', hasPhone: true }], [{ id: 'w', ownerId: 'a', facts, call: 'done' }])
    nights(done, day('2026-11-20'), day('2026-12-31'))
    expect(done.letters.map((l) => l.runOn)).toEqual(['2026-11-27', '2026-12-11'])
    expect(done.booked[0]).toMatchObject({ stage: '1', booked: 'skipped' })
    const none = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts }])
    nights(none, day('2026-11-20'), day('2026-11-26'))
    expect(none.letters.map((l) => l.runOn)).toEqual(['2026-11-20'])
  })

  it('stands outside the thirty days, and carries other items only where they are free', () => {
    const c = centre(
      [{ id: 'a' }],
      [
        { id: 'w', ownerId: 'a', facts: quartzWithSign('cell-dead', '2026-11-20') },
        { id: 'x', ownerId: 'a', facts: handWound('2022-01-10') },
        { id: 'y', ownerId: 'a', facts: handWound('2022-02-18') },
      ],
    )
    nights(c, day('2026-11-11'), day('2027-01-02'))
    expect(letters(c)).toEqual([
      '2026-11-11: x complete-service 1 → 2027-01-10',
      '2026-11-20: w cell-change 1 → 2026-11-27',
      '2026-11-27: w cell-change 2 → 2026-12-04',
      '2026-12-11: w cell-change 3, y complete-service 1 → 2026-12-18',
    ])
    expect(c.letters.map((l) => l.reminder)).toEqual([true, false, false, true])
  })

  it('refused: quiet for thirty days, then the one letter after a refusal, whatever the stop says', () => {
    const facts = quartzWithSign('cell-dead', '2026-11-20')
    const c = centre(
      [{ id: 'a', hasPhone: true }],
      [{ id: 'w', ownerId: 'a', facts, declined: { 'cell-change': day('2026-11-21') } }],
    )
    nights(c, day('2026-11-21'), day('2027-06-01'))
    expect(letters(c)).toEqual(['2026-12-21: w cell-change after-refusal → 2026-12-28'])
  })
})

describe('refusals, appointments, assessment', () => {
  it('a failed water test and the reseal refused: quiet for a year, then one letter', () => {
    const facts: Facts = {
      watch: { kind: 'self-winding', waterClaim: { marked: 'rated', bar: 10 }, firstSeen: long },
      wear: { water: 'often', learned: long },
      history: [
        { event: 'complete-service', on: partial('2025-11-10'), source: 'own-record' },
        { event: 'water-test', on: partial('2026-11-10'), source: 'own-record', passed: false },
      ],
    }
    const c = centre(
      [{ id: 'a' }],
      [{ id: 'w', ownerId: 'a', facts, declined: { 'water-check': day('2026-11-10') }, keepDry: true }],
    )
    nights(c, day('2026-11-10'), day('2028-12-31'), (today) => today > '2027-01-10' && today < '2027-11-01')
    expect(letters(c)[0]).toBe('2027-11-10: w water-check after-refusal, w keep-dry → 2027-11-17')
    expect(c.booked.filter((b) => b.kind === 'water-check')).toHaveLength(1)
    expect(c.withheld[0]).toMatchObject({ runOn: '2026-11-10', stage: '1', reasons: ['declined'] })
  })

  it('an appointment keeps everything about the watch quiet to its day and a week', () => {
    const c = centre(
      [{ id: 'a' }],
      [{ id: 'w', ownerId: 'a', facts: handWound('2021-11-30'), appointmentOn: day('2026-10-20') }],
    )
    nights(c, day('2026-10-01'), day('2026-11-10'))
    expect(letters(c)).toEqual(['2026-10-28: w complete-service 1 → 2026-11-30'])
  })

  it('what is to be assessed rides in the first letter, else causes one after sixty days', () => {
    const unknown: Facts = { watch: { kind: 'hand-wound', firstSeen: day('2026-09-01') } }
    const alone = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: unknown }])
    nights(alone, day('2026-09-01'), day('2027-09-01'))
    expect(letters(alone)).toEqual(['2026-10-31: w complete-service assess → 2026-11-07'])
    const beside = centre(
      [{ id: 'a' }],
      [
        { id: 'w', ownerId: 'a', facts: unknown },
        { id: 'x', ownerId: 'a', facts: handWound('2021-11-20') },
      ],
    )
    nights(beside, day('2026-09-01'), day('2026-10-20'))
    expect(letters(beside)).toEqual(['2026-09-21: x complete-service 1, w complete-service assess → 2026-09-28'])
    const never = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: unknown }])
    never.setting = { ...never.setting, rules: { ...defaultNoticeRules, assessAfterDays: 0 } }
    nights(never, day('2026-09-01'), day('2027-09-01'))
    expect(letters(never)).toEqual([])
  })

  it('an owner who was never asked: by the law of the place, and where the centre has not said, nothing', () => {
    const asked = { 'complete-service': 'not-asked', 'water-check': 'not-asked', 'cell-change': 'not-asked' } as const
    for (const [notAsked, count, reason] of [
      ['write', 1, undefined],
      ['do-not-write', 0, 'not-asked'],
      [null, 0, 'not-asked-rule-missing'],
    ] as const) {
      const c = centre([{ id: 'a', choices: asked }], [{ id: 'w', ownerId: 'a', facts: handWound('2021-11-30') }])
      c.setting = { ...c.setting, notAsked }
      night(c, day('2026-11-25'))
      expect([c.letters.length, c.withheld[0]?.reasons[0]]).toEqual([count, reason])
    }
  })

  it('a letter that came back goes once more when a new address is on file, on a key of its own', () => {
    const c = centre([{ id: 'a' }], [{ id: 'w', ownerId: 'a', facts: handWound('2021-11-30') }])
    nights(c, day('2026-10-01'), day('2026-10-05'))
    c.owners[0] = { id: 'a', hasAddress: false, mailReturned: true }
    nights(c, day('2026-10-06'), day('2026-11-05'))
    c.owners[0] = { id: 'a' }
    c.watches[0]!.returned = true
    night(c, day('2026-11-06'))
    c.watches[0]!.returned = false
    nights(c, day('2026-11-07'), day('2026-12-29'))
    expect(letters(c)).toEqual([
      '2026-10-01: w complete-service 1 → 2026-11-30',
      '2026-11-06: w complete-service 1/address-2 → 2026-11-30',
    ])
  })

  it('at most six reminders in twelve months', () => {
    const watches = Array.from({ length: 9 }, (_, i) => ({
      id: `w${i}`,
      ownerId: 'a',
      facts: handWound(addDays(day('2022-01-01'), i * 40)),
    }))
    const c = centre([{ id: 'a' }], watches)
    nights(c, day('2026-09-01'), day('2028-03-01'))
    const days = c.letters.map((l) => l.runOn)
    expect(days.length).toBeGreaterThan(6)
    days.forEach((d, i) => {
      const seventh = days[i + 6]
      if (seventh) expect(seventh >= addDays(d, 365)).toBe(true)
    })
  })
})

describe('cycles and quiet days', () => {
  const base = {
    rule: 'usual',
    noticesDueOn: day('2026-11-30'),
    noticesBy: 'due-day',
    baseOn: day('2021-11-30'),
    eventOn: null,
  } as const
  const before = {
    cycle: 'base:2021-11-01',
    rule: 'usual',
    baseOn: day('2021-11-01'),
    baseUntil: day('2021-11-30'),
    stopOn: day('2027-11-01'),
  } as const

  it('a correction within the first and last day of the base keeps the name, a new base does not', () => {
    expect(cycleOf(base, before, true)).toBe('base:2021-11-01')
    expect(cycleOf(base, before, false)).toBe('base:2021-11-30')
    expect(cycleOf({ ...base, baseOn: day('2021-12-01') }, before, true)).toBe('base:2021-12-01')
    expect(cycleOf({ ...base, baseOn: day('2021-11-01'), noticesDueOn: day('2030-01-01') }, before, false)).toBe(
      'base:2021-11-01',
    )
  })

  it('a further event of the same rule keeps the name while the asking runs', () => {
    const event = {
      rule: 'trouble',
      noticesDueOn: day('2026-12-01'),
      noticesBy: 'last-word',
      baseOn: null,
      eventOn: day('2026-11-01'),
    } as const
    const running = {
      cycle: 'event:trouble:2026-11-01',
      rule: 'trouble',
      baseOn: null,
      baseUntil: null,
      stopOn: day('2027-11-01'),
    } as const
    expect(cycleOf(event, running, false)).toBe('event:trouble:2026-11-01')
    expect(cycleOf(event, { ...running, stopOn: day('2026-12-01') }, false)).toBe('event:trouble:2026-12-01')
    expect(cycleOf({ ...event, rule: 'opened-since-test' }, running, false)).toBe('event:opened-since-test:2026-12-01')
    expect(cycleOf({ ...event, noticesBy: 'ordinary-day' }, running, false)).toBe('after:2026-11-01')
    expect(cycleOf({ ...event, rule: 'unknown-base' }, running, false)).toBe('seen:2026-12-01')
  })

  it('quiet weekdays: Wednesday 2026-11-25 is the third of the week', () => {
    const on = (quietWeekdays: number, d: string) => isQuietDay(day(d), { ...defaultNoticeRules, quietWeekdays })
    expect([
      on(0, '2026-11-25'),
      on(4, '2026-11-25'),
      on(4, '2026-11-26'),
      on(64, '2026-11-29'),
      on(1, '1969-12-29'),
    ]).toEqual([false, true, false, true, true])
  })

  it('a watch whose present owner is unknown is withheld for that alone', () => {
    const c = centre(
      [{ id: 'a', hasAddress: false, deceased: true }],
      [{ id: 'w', ownerId: 'a', facts: handWound('2021-11-30') }],
    )
    const state = { ...stateOf(c, 'a', day('2026-11-25')), ownerId: null }
    const { letter, withheld } = decideLetters(state, c.setting, day('2026-11-25'))
    expect([letter, withheld.map((x) => x.reasons)]).toEqual([null, [['owner-unknown']]])
  })
})
