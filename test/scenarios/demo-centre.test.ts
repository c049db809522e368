import { createHash } from 'node:crypto'
import { describe, expect, test } from 'vitest'
import { calibres } from '../../seed/invented/calibres.ts'
import { cases } from '../../seed/invented/cases.ts'
import { bookOf, factsIn, inventCentre, lotsOf } from '../../seed/invented/centre.ts'
import { type Day, numberOfDay, spanOf } from '../../src/domain/day.ts'
import type { HistoryEvent } from '../../src/domain/reckoning/facts.ts'
import type { ImportedWatch } from '../../src/features/imports/imports.ts'
import { importBody } from '../../src/features/imports/routes.ts'

/** The invented centre of the demo: the same every time, large enough, and full of what breaks careless programs. */
const today = '2026-11-25' as Day
const centre = inventCentre(1, today)
const book = bookOf(centre.groups)
const events = (watch: ImportedWatch) => watch.events ?? []
const holding = (holds: (watch: ImportedWatch) => boolean) => book.watches.filter(holds).length
const with_ = (holds: (event: HistoryEvent, watch: ImportedWatch) => boolean) =>
  holding((watch) => events(watch).some((event) => holds(event, watch)))
const beats = new Map(calibres.map((calibre) => [calibre.name, calibre.beatsPerHour ?? 0]))
const latest = (watch: ImportedWatch) => watch.wear?.at(-1)
const inWater = (water: string | null | undefined) => water != null && water !== 'never' && water !== 'unknown'

describe('the invented centre', () => {
  test('is the same to the letter for the same seed, another for another', () => {
    const small = { owners: 100, watches: 150, cases: 0.2 }
    const text = (seed: number) =>
      createHash('sha256')
        .update(JSON.stringify(inventCentre(seed, today, small).groups))
        .digest('hex')
    expect(text(1)).toBe(text(1))
    expect(text(1)).not.toBe(text(2))
  })

  test('has at least 2,000 owners, 3,000 watches, 60 calibres and 15,000 facts over eight years', () => {
    expect(book.owners.length).toBeGreaterThanOrEqual(2000)
    expect(book.watches.length).toBeGreaterThanOrEqual(3000)
    expect(new Set(calibres.map((calibre) => calibre.name)).size).toBeGreaterThanOrEqual(60)
    expect(factsIn(book)).toBeGreaterThanOrEqual(15_000)
    const own = book.watches.flatMap((watch) => events(watch).filter((event) => event.source === 'own-record'))
    const years = new Set(own.map((event) => event.on.slice(0, 4)))
    for (const year of ['2019', '2020', '2021', '2022', '2023', '2024', '2025', '2026']) expect(years).toContain(year)
  })

  const counts: [what: string, least: number, counted: () => number][] = [
    ['made known to the year only', 100, () => holding((watch) => watch.made?.length === 4)],
    ['sold known to the month only', 100, () => holding((watch) => watch.sold?.length === 7)],
    ['work known to the month or year only', 100, () => with_((event) => event.on.length < 10)],
    [
      'nothing known at all',
      20,
      () => holding((watch) => !watch.made && !watch.sold && events(watch).length === 0 && !watch.wear),
    ],
    [
      'sold on to an owner who is known',
      10,
      () => holding((watch) => (watch.ownerships?.length ?? 0) > 1 && watch.ownerships?.at(-1)?.owner != null),
    ],
    ['sold on to nobody known', 5, () => holding((watch) => watch.ownerships?.at(-1)?.owner === null)],
    [
      'quartz with a cell of known best-before, capacity and consumption',
      300,
      () =>
        with_(
          (event) =>
            event.event === 'cell-fitted' && !!event.bestBefore && !!event.capacityMah && !!event.consumptionMicroamps,
        ),
    ],
    ['rechargeable', 50, () => holding((watch) => watch.kind === 'rechargeable-quartz')],
    ['electric', 20, () => holding((watch) => watch.kind === 'electric')],
    ['spring with quartz regulation', 20, () => holding((watch) => watch.kind === 'spring-quartz')],
    ['above 28,800 A/h', 50, () => holding((watch) => (beats.get(watch.calibre ?? '') ?? 0) > 28_800)],
    ['at 28,800 A/h exactly', 200, () => holding((watch) => beats.get(watch.calibre ?? '') === 28_800)],
    [
      'divers of 20 bar and more',
      200,
      () => holding((watch) => watch.waterClaim?.marked === 'rated' && (watch.waterClaim.bar ?? 0) >= 20),
    ],
    ['radium', 20, () => holding((watch) => !!watch.hazards?.some((hazard) => hazard.kind === 'radium'))],
    [
      'perhaps radium, not measured',
      20,
      () => holding((watch) => !!watch.hazards?.some((hazard) => hazard.kind === 'maybe-radium')),
    ],
    ['tritium', 20, () => holding((watch) => !!watch.hazards?.some((hazard) => hazard.kind === 'tritium'))],
    [
      'movement replaced, new',
      2,
      () => with_((event) => event.event === 'movement-fitted' && event.condition === 'new'),
    ],
    [
      'movement replaced, condition unknown',
      2,
      () => with_((event) => event.event === 'movement-fitted' && event.condition === 'unknown'),
    ],
    [
      'a failed test that stands',
      5,
      () =>
        holding((watch) => {
          const test = events(watch).findLast((event) => event.event === 'water-test')
          return test?.event === 'water-test' && !test.passed
        }),
    ],
    [
      'a failed test, mended',
      20,
      () =>
        holding((watch) => {
          const tests = events(watch).filter((event) => event.event === 'water-test')
          return tests.some((one) => !one.passed) && tests.at(-1)?.passed === true
        }),
    ],
    ['water claim withdrawn', 3, () => with_((event) => event.event === 'water-claim-withdrawn')],
    ['opened elsewhere', 10, () => with_((event) => event.event === 'case-opened' && event.source === 'owner-word')],
    [
      'cell dead or stopped',
      5,
      () => with_((event) => event.event === 'sign' && (event.sign === 'cell-dead' || event.sign === 'stopped')),
    ],
    ['cell leaking', 5, () => with_((event) => event.event === 'sign' && event.sign === 'cell-leaking')],
    ['end-of-life sign', 5, () => with_((event) => event.event === 'sign' && event.sign === 'cell-end-of-life')],
    [
      'fitted past its best-before',
      3,
      () =>
        with_(
          (event) =>
            event.event === 'cell-fitted' &&
            !!event.bestBefore &&
            spanOf(event.bestBefore).last < spanOf(event.on).first,
        ),
    ],
    ['dated in the future', 5, () => with_((event) => spanOf(event.on).first > numberOfDay(today))],
    [
      'sold before it was made',
      3,
      () => holding((watch) => !!watch.made && !!watch.sold && spanOf(watch.sold).last < spanOf(watch.made).first),
    ],
    [
      'serviced before it was made',
      3,
      () => with_((event, watch) => !!watch.made && spanOf(event.on).last < spanOf(watch.made).first),
    ],
    [
      'never in water, yet salt',
      3,
      () => holding((watch) => latest(watch)?.water === 'never' && latest(watch)?.salt === 'yes'),
    ],
    [
      'without claim, worn in water',
      10,
      () => holding((watch) => watch.waterClaim?.marked === 'none' && inWater(latest(watch)?.water)),
    ],
    [
      'stored with the cell removed',
      5,
      () => holding((watch) => watch.state === 'stored-cell-removed' && events(watch).at(-1)?.event === 'cell-removed'),
    ],
    [
      'lost, stolen, on display or beyond repair',
      8,
      () => holding((watch) => ['lost', 'stolen', 'displayed', 'beyond-repair'].includes(watch.state ?? '')),
    ],
    ['serviced on 29 February', 1, () => with_((event) => event.on.endsWith('-02-29'))],
    ['a watchmaker’s note', 20, () => holding((watch) => (watch.notes?.length ?? 0) > 0)],
    ['mercury cell', 3, () => holding((watch) => !!watch.hazards?.some((hazard) => hazard.kind === 'mercury-cell'))],
    ['asked more than once how it is worn', 50, () => holding((watch) => (watch.wear?.length ?? 0) > 1)],
    ['deceased', 10, () => book.owners.filter((owner) => owner.deceased).length],
    [
      'all letters refused',
      20,
      () =>
        book.owners.filter(
          (owner) => owner.noticeChoices?.length === 3 && owner.noticeChoices.every((one) => one.choice === 'no'),
        ).length,
    ],
    [
      'one kind of letter refused',
      10,
      () =>
        book.owners.filter(
          (owner) =>
            owner.noticeChoices?.length === 4 && owner.noticeChoices.filter((one) => one.choice === 'no').length === 1,
        ).length,
    ],
    [
      'never asked about letters',
      40,
      () =>
        book.owners.filter(
          (owner) => !owner.noticeChoices || owner.noticeChoices.every((one) => one.choice === 'not-asked'),
        ).length,
    ],
    [
      'in dispute or not served',
      4,
      () => book.owners.filter((owner) => owner.standing === 'in-dispute' || owner.standing === 'do-not-serve').length,
    ],
    ['without any address', 5, () => book.owners.filter((owner) => owner.contacts.length === 0).length],
    ['firms', 5, () => book.owners.filter((owner) => owner.isFirm).length],
    ['doubles merged', 10, () => centre.groups.filter((group) => group.merge).length],
    [
      'pairs that share telephone and mail, merged or not',
      16,
      () => {
        const keys = book.owners.flatMap((owner) =>
          owner.contacts.length > 1
            ? [
                owner.contacts
                  .map((contact) => contact.value)
                  .sort()
                  .join(),
              ]
            : [],
        )
        return keys.length - new Set(keys).size
      },
    ],
  ]
  test.each(counts)('holds watches and owners with: %s', (_, least, counted) => {
    expect(counted()).toBeGreaterThanOrEqual(least)
  })

  test('writes to its owners in five languages', () => {
    const speaking = (language: string) => book.owners.filter((owner) => owner.language === language).length
    const languages = [...new Set(book.owners.map((owner) => owner.language))].sort()
    expect(languages).toEqual(['de', 'en', 'es', 'fr', 'pt'])
    for (const language of languages) expect(speaking(language), language).toBeGreaterThan(100)
  })

  test('makes each of its nasty cases as often as it says, under names that differ', () => {
    expect(new Set(cases.map((one) => one.name)).size).toBe(cases.length)
    for (const one of cases) expect(centre.cases.get(one.name)?.length, one.name).toBe(one.times)
  })

  test('has addresses of RFC 2606 and telephone numbers that Ofcom keeps for drama, and no ref twice', () => {
    const values = (means: string) =>
      book.owners.flatMap((owner) => owner.contacts.filter((one) => one.means === means).map((one) => one.value))
    const mail = /^[a-z]+\.[a-z]+\.\d+@example\.(org|net|com)$/
    // Ofcom, "Numbers for use in TV and radio drama": 1,000 in each area
    const drama = /^\+44 (1632 960\d{3}|20 7946 0\d{3}|(161|113|117|121|131|141) 496 0\d{3})$/
    expect(values('e-mail').filter((value) => !mail.test(value))).toEqual([])
    expect(values('phone').filter((value) => !drama.test(value))).toEqual([])
    const refs = [...book.owners, ...book.watches].map((row) => row.ref)
    expect(new Set(refs).size).toBe(refs.length)
  })

  test('could as well be sent to the door for imports, lot by lot', () => {
    for (const lot of lotsOf(centre.groups, 400)) {
      const sent = JSON.parse(JSON.stringify(bookOf(lot)))
      const taken = importBody.safeParse(sent)
      expect(taken.error?.issues.slice(0, 3)).toBeUndefined()
    }
  })

  test('says nothing of its own records that was learned after the demo’s day', () => {
    const learned = book.watches.flatMap((watch) => [
      watch.firstSeen,
      ...events(watch).map((event) => event.learned),
      ...(watch.wear ?? []).map((wear) => wear.learned),
      ...(watch.notes ?? []).map((note) => note.on),
    ])
    expect(learned.filter((day) => day != null && day > today)).toEqual([])
  })
})
