import { addDays, addMonths, type Day, type PartialDay } from '../../src/domain/day.ts'
import type { HistoryEvent, Sign, WearFacts } from '../../src/domain/reckoning/facts.ts'
import type { ImportedWatch } from '../../src/features/imports/imports.ts'
import { ofFamily } from './calibres.ts'
import { type Group, household, type Inventing } from './groups.ts'
import { askedAbout, cellFitted } from './history.ts'
import { choices, mailOf, phoneOf } from './people.ts'
import { type SortName, sortOf } from './watch.ts'

/**
 * The nasty cases: each is a kind of record that breaks careless programs, made a number of times over. The names are
 * what the demo's account and its test call them by.
 */
type Case = { name: string; times: number; make: (invent: Inventing, nth: number) => Group }

const own = (on: string, learned?: string) => ({
  on: on as PartialDay,
  source: 'own-record' as const,
  learned: (learned ?? (on.length === 10 ? on : undefined)) as Day | undefined,
})
const word = (on: string, learned: string) => ({
  on: on as PartialDay,
  source: 'owner-word' as const,
  learned: learned as Day,
})

const knownUnexposed: WearFacts = { vibration: 'no', heat: 'no', cold: 'no' }
const inWater = (water: WearFacts['water'], learned: Day) => ({
  daily: 'yes' as const,
  ...knownUnexposed,
  water,
  salt: 'no' as const,
  chlorine: 'no' as const,
  hotWater: 'no' as const,
  learned,
  source: 'owner-word' as const,
})

/** One owner with one watch of a sort, first seen about `months` ago; `with` adds what the case is about. */
function one(
  invent: Inventing,
  sort: SortName,
  months: number,
  add: (watch: ImportedWatch & { firstSeen: Day }, seen: Day) => Partial<ImportedWatch>,
): Group {
  const { owner } = invent.owner()
  const seen = addDays(addMonths(invent.since, 96 - months), -invent.dice.whole(1, 25))
  const { watch } = invent.watch({ owner, sort: sortOf(sort), firstSeen: seen })
  return { owners: [owner], watches: [{ ...watch, ...add(watch, seen) }] }
}

const signed = (invent: Inventing, sign: Sign, ago: number): HistoryEvent => {
  const day = addDays(invent.today, -ago)
  return { event: 'sign', sign, ...word(day, day) }
}

const watches: Case[] = [
  {
    name: 'opened elsewhere since its test',
    times: 12,
    make: (invent) =>
      one(invent, 'quartz-diver', 20, (watch, seen) => {
        const tested = addDays(addMonths(seen, 11), 3)
        return {
          events: [
            { event: 'complete-service', ...own(seen) },
            {
              ...cellFitted(
                { dice: invent.dice, invented: { sort: sortOf('quartz-diver'), calibre: calibreOf(watch), watch } },
                seen,
              ),
            },
            { event: 'water-test', ...own(tested), passed: true, bar: 10 },
            {
              event: 'case-opened',
              ...word(addDays(invent.today, -40).slice(0, 7), addDays(invent.today, -invent.dice.whole(1, 20))),
              note: 'a kiosk changed the cell',
            },
          ],
          wear: [inWater('often', seen)],
        }
      }),
  },
  {
    name: 'cell dead',
    times: 8,
    make: (invent, nth) =>
      one(invent, 'everyday-quartz', 18, (_, seen) => ({
        events: [
          { event: 'cell-fitted', ...own(seen) },
          signed(invent, nth % 3 === 0 ? 'stopped' : 'cell-dead', invent.dice.whole(1, 6)),
        ],
      })),
  },
  {
    name: 'cell leaking',
    times: 5,
    make: (invent) =>
      one(invent, 'everyday-quartz', 40, (_, seen) => ({
        events: [{ event: 'cell-fitted', ...own(seen) }, signed(invent, 'cell-leaking', invent.dice.whole(1, 4))],
        hazards: [{ kind: 'leaking-cell', note: 'seen through the back', seenOn: addDays(invent.today, -1) }],
      })),
  },
  {
    name: 'end-of-life sign of a cell',
    times: 5,
    make: (invent) =>
      one(invent, 'quartz-chronograph', 17, (_, seen) => ({
        events: [{ event: 'cell-fitted', ...own(seen) }, signed(invent, 'cell-end-of-life', invent.dice.whole(1, 12))],
      })),
  },
  {
    name: 'best-before comes first',
    times: 8,
    make: (invent) =>
      one(invent, 'everyday-quartz', 20, (_, seen) => ({
        events: [
          { event: 'cell-fitted', ...own(seen), bestBefore: addMonths(invent.today, 1).slice(0, 7) as PartialDay },
        ],
      })),
  },
  {
    name: 'cell past its best when fitted elsewhere',
    times: 3,
    make: (invent) =>
      one(invent, 'everyday-quartz', 30, (_, seen) => {
        const fitted = addDays(invent.today, -85)
        return {
          events: [
            { event: 'complete-service', ...own(seen) },
            {
              event: 'cell-fitted',
              on: fitted as unknown as PartialDay,
              source: 'paper',
              learned: addDays(invent.today, -invent.dice.whole(2, 30)),
              bestBefore: addMonths(fitted, -2).slice(0, 7) as PartialDay,
              note: 'pack shown',
            },
          ],
        }
      }),
  },
  {
    name: 'consumption above its limit',
    times: 5,
    make: (invent) =>
      one(invent, 'everyday-quartz', 17, (_, seen) => ({
        calibre: ofFamily('quartz')[1]?.name,
        events: [
          {
            event: 'cell-fitted',
            ...own(seen),
            bestBefore: addMonths(seen, 30).slice(0, 7) as PartialDay,
            capacityMah: 28,
            consumptionMicroamps: 1.9,
          },
          { event: 'sign', sign: 'high-consumption', ...own(seen) },
        ],
      })),
  },
  {
    name: 'lithium cell that its maker gives years',
    times: 4,
    make: (invent) =>
      one(invent, 'everyday-quartz', 26, (_, seen) => ({
        calibre: ofFamily('lithium-quartz')[0]?.name,
        events: [{ event: 'cell-fitted', ...own(seen) }],
        hazards: [{ kind: 'lithium-cell', seenOn: seen }],
      })),
  },
  {
    name: 'mercury cell replaced by silver oxide',
    times: 4,
    make: (invent) =>
      one(invent, 'electric', 23, (_, seen) => ({
        made: undefined,
        sold: undefined,
        events: [{ event: 'cell-fitted', ...own(seen), note: '1.55 V in place of 1.35 V' }],
        hazards: [{ kind: 'mercury-cell', note: 'made for a 1.35 V mercury cell', seenOn: seen }],
      })),
  },
  {
    name: 'typed into the future',
    times: 6,
    make: (invent) =>
      one(invent, 'everyday-automatic', 66, (_, seen) => ({
        events: [
          { event: 'complete-service', ...own(seen) },
          {
            event: 'complete-service',
            on: addMonths(invent.today, 2) as unknown as PartialDay,
            source: 'own-record',
            learned: addDays(invent.today, -30),
          },
        ],
      })),
  },
  {
    name: 'sold before it was made',
    times: 4,
    make: (invent) =>
      one(invent, 'everyday-quartz', 30, () => ({
        made: '2019' as PartialDay,
        sold: '2016-05-10' as PartialDay,
        firstSeen: addMonths(invent.today, -30),
      })),
  },
  {
    name: 'serviced before it was made',
    times: 4,
    make: (invent) =>
      one(invent, 'slow-automatic', 40, (_, seen) => ({
        made: '2015' as PartialDay,
        sold: '2016-03' as PartialDay,
        events: [{ event: 'complete-service', ...word('2012', seen) }],
      })),
  },
  {
    name: 'never in water, yet salt',
    times: 4,
    make: (invent) =>
      one(invent, 'everyday-automatic', 14, (_, seen) => ({
        events: [{ event: 'complete-service', ...own(seen) }],
        wear: [{ ...inWater('never', seen), salt: 'yes' }],
      })),
  },
  {
    name: 'without claim, worn in water',
    times: 10,
    make: (invent) =>
      one(invent, 'dress', 50, (_, seen) => ({
        waterClaim: { marked: 'none' },
        events: [{ event: 'complete-service', ...own(addMonths(seen, -8)) }],
        wear: [{ ...inWater('now-and-then', seen), hotWater: 'yes' }],
      })),
  },
  {
    name: 'stored with the cell removed',
    times: 8,
    make: (invent) =>
      one(invent, 'everyday-quartz', 60, (_, seen) => {
        const removed = addMonths(seen, 45)
        return {
          events: [
            { event: 'complete-service', ...own(addMonths(seen, -10)) },
            { event: 'cell-fitted', ...own(seen) },
            { event: 'cell-removed', ...own(removed) },
          ],
          state: 'stored-cell-removed',
          stateSince: removed,
        }
      }),
  },
  {
    name: 'failed its water test',
    times: 10,
    make: (invent) =>
      one(invent, 'everyday-automatic', 22, (_, seen) => ({
        waterClaim: { marked: 'rated', bar: 10 },
        events: [
          { event: 'complete-service', ...own(seen) },
          {
            event: 'water-test',
            ...own(addDays(invent.today, -invent.dice.whole(10, 25))),
            passed: false,
            bar: 10,
            note: 'new seals declined',
          },
        ],
        wear: [inWater(invent.dice.pick(['often', 'never']), seen)],
      })),
  },
  {
    name: 'water claim withdrawn',
    times: 4,
    make: (invent) =>
      one(invent, 'old-diver', 30, (_, seen) => ({
        events: [
          { event: 'water-test', ...own(seen), passed: false, bar: 3 },
          { event: 'water-claim-withdrawn', ...own(seen) },
        ],
        wear: [inWater('now-and-then', seen)],
      })),
  },
  {
    name: 'movement replaced',
    times: 10,
    make: (invent, nth) =>
      one(invent, nth % 2 === 0 ? 'quartz-diver' : 'high-beat', 36, (_, seen) => {
        const fitted = addMonths(seen, 23)
        const [condition, source] = (
          [
            ['new', 'own-record'],
            ['freshly-serviced', 'paper'],
            ['unknown', 'owner-word'],
          ] as const
        )[nth % 3] ?? ['new', 'own-record']
        return {
          events: [
            { event: 'complete-service', ...own(seen) },
            { event: 'movement-fitted', on: fitted as unknown as PartialDay, source, learned: fitted, condition },
            ...(nth % 2 === 0 && condition === 'new'
              ? ([
                  { event: 'cell-fitted', ...own(fitted), bestBefore: addMonths(fitted, 38).slice(0, 7) as PartialDay },
                  { event: 'water-test', ...own(fitted), passed: true, bar: 10 },
                ] as const)
              : []),
          ],
          wear: [inWater('often', seen)],
        }
      }),
  },
  {
    name: 'lume measured as radium',
    times: 8,
    make: (invent) =>
      one(invent, 'old-hand-wound', 59, (_, seen) => ({
        luminous: 'radium',
        events: [{ event: 'complete-service', ...own(seen) }],
        hazards: [{ kind: 'radium', note: 'measured at the dial', confirmedBy: 'the vintage bench', seenOn: seen }],
        doNot: ['no lume work', 'keep dial', 'keep hands'],
      })),
  },
  {
    name: 'tritium, lume dim, in water now and then',
    times: 8,
    make: (invent) =>
      one(invent, 'old-diver', 24, (_, seen) => ({
        events: [
          { event: 'complete-service', ...own(seen) },
          { event: 'water-test', ...own(seen), passed: true, bar: 10 },
        ],
        wear: [inWater('now-and-then', seen)],
        hazards: [{ kind: 'tritium', note: 'marked on the dial', seenOn: seen }],
      })),
  },
  {
    name: 'nothing known of it',
    times: 24,
    make: (invent, nth) =>
      one(invent, nth % 2 === 0 ? 'everyday-quartz' : 'old-hand-wound', nth % 4 === 0 ? 0 : 3, () => ({
        made: undefined,
        sold: undefined,
        calibre: nth % 3 === 0 ? undefined : ofFamily(nth % 2 === 0 ? 'quartz' : 'old-hand-wound')[0]?.name,
      })),
  },
  {
    name: 'only a year, by the owner’s word',
    times: 10,
    make: (invent) =>
      one(invent, 'slow-automatic', 12, (_, seen) => ({
        events: [{ event: 'complete-service', ...word(String(Number(seen.slice(0, 4)) - 3), seen) }],
      })),
  },
  {
    name: 'high-beat and rarely worn',
    times: 5,
    make: (invent) =>
      one(invent, 'high-beat', 35, (_, seen) => ({
        events: [{ event: 'complete-service', ...own(seen) }],
        wear: [{ daily: 'no', ...knownUnexposed, water: 'never', learned: seen, source: 'owner-word' }],
      })),
  },
  {
    name: 'worked on at the end of a month',
    times: 4,
    make: (invent, nth) =>
      one(invent, 'high-beat', 72, () => ({
        firstSeen: '2020-01-10' as Day,
        events: [
          {
            event: 'complete-service',
            ...own(['2024-02-29', '2023-12-31', '2024-01-31', '2024-08-31'][nth] ?? '2024-02-29'),
          },
        ],
      })),
  },
  {
    name: 'hit, bathed or cleaned with solvent',
    times: 9,
    make: (invent, nth) =>
      one(invent, 'automatic-diver', 15, (_, seen) => ({
        events: [
          { event: 'complete-service', ...own(seen) },
          { event: 'water-test', ...own(seen), passed: true, bar: 10 },
          signed(
            invent,
            (['heavy-blow', 'hot-bath', 'solvent', 'crown-knock', 'water-inside'] as const)[nth % 5] ?? 'heavy-blow',
            invent.dice.whole(2, 60),
          ),
        ],
        wear: [inWater('often', seen)],
      })),
  },
  {
    name: 'lost, stolen, on display, beyond repair',
    times: 12,
    make: (invent, nth) =>
      one(invent, 'everyday-automatic', 62, (_, seen) => ({
        events: [{ event: 'complete-service', ...own(seen) }],
        state: (['lost', 'stolen', 'displayed', 'beyond-repair'] as const)[nth % 4],
        stateSince: addDays(invent.today, -invent.dice.whole(30, 400)),
      })),
  },
  {
    name: 'letters O and I in the serial, and a known duplicate',
    times: 3,
    make: (invent, nth) => {
      const serial = `QO1I-0O${nth}`
      const first = one(invent, 'dress', 30, () => ({ maker: 'Quenvar', serial }))
      const second = one(invent, 'dress', 20, () => ({
        maker: 'Quenvar',
        serial: serial.replace('O', '0'),
        knownDuplicate: true,
      }))
      return { owners: [...first.owners, ...second.owners], watches: [...first.watches, ...second.watches] }
    },
  },
  {
    name: 'three watches of one owner due together',
    times: 4,
    make: (invent) => {
      const { owner } = invent.owner()
      const ago = (months: number, days: number) => addDays(addMonths(invent.today, -months), days)
      const quartz = invent.watch({ owner, sort: sortOf('everyday-quartz'), firstSeen: ago(24, 46) }).watch
      const diver = invent.watch({ owner, sort: sortOf('automatic-diver'), firstSeen: ago(12, 25) }).watch
      const automatic = invent.watch({ owner, sort: sortOf('slow-automatic'), firstSeen: ago(60, 56) }).watch
      return {
        owners: [owner],
        watches: [
          { ...quartz, events: [{ event: 'cell-fitted', ...own(quartz.firstSeen) }] },
          {
            ...diver,
            events: [
              { event: 'complete-service', ...own(diver.firstSeen) },
              { event: 'water-test', ...own(diver.firstSeen), passed: true, bar: 10 },
            ],
            wear: [inWater('diving', diver.firstSeen)],
          },
          { ...automatic, events: [{ event: 'complete-service', ...own(automatic.firstSeen) }] },
        ],
      }
    },
  },
  {
    name: 'three things due on one watch',
    times: 4,
    make: (invent) =>
      one(invent, 'quartz-diver', 90, (_, seen) => ({
        sold: addDays(addMonths(invent.today, -84), 15) as unknown as PartialDay,
        made: undefined,
        firstSeen: addDays(addMonths(invent.today, -84), 15),
        events: [
          { event: 'cell-fitted', ...own(addDays(addMonths(invent.today, -24), 5)) },
          { event: 'water-test', ...own(addDays(addMonths(invent.today, -12), 50)), passed: true, bar: 10 },
        ],
        wear: [inWater('often', seen)],
      })),
  },
]

const people: Case[] = [
  {
    name: 'sold on, the new owner known',
    times: 14,
    make: (invent) => {
      const { owner: first } = invent.owner()
      const { owner: second } = invent.owner()
      const invented = invent.watch({
        owner: first,
        sort: sortOf(invent.dice.pick(['dress', 'everyday-automatic'])),
        firstSeen: addMonths(invent.today, -invent.dice.whole(66, 90)),
      })
      const { firstSeen } = invented.watch
      const passed = addDays(invent.today, -invent.dice.whole(60, 400))
      const known = addDays(passed, invent.dice.whole(3, 50))
      return {
        owners: [first, second],
        watches: [
          {
            ...invented.watch,
            owner: undefined,
            ownerships: [
              { owner: first.ref, from: firstSeen, learned: firstSeen, how: 'booked in' },
              { owner: second.ref, from: passed, learned: known, how: 'the new owner came in with it' },
            ],
            events: [{ event: 'complete-service', ...own(addMonths(firstSeen, 4)) }],
            wear: [{ daily: 'no', ...knownUnexposed, water: 'never', learned: firstSeen, source: 'owner-word' }],
          },
        ],
      }
    },
  },
  {
    name: 'sold on, to whom is not known',
    times: 6,
    make: (invent) => {
      const { owner } = invent.owner()
      const { watch } = invent.watch({
        owner,
        sort: sortOf('everyday-quartz'),
        firstSeen: addMonths(invent.today, -40),
      })
      return {
        owners: [owner],
        watches: [
          {
            ...watch,
            owner: undefined,
            ownerships: [
              { owner: owner.ref, from: watch.firstSeen, learned: watch.firstSeen, how: 'booked in' },
              {
                owner: null,
                from: addMonths(watch.firstSeen, 30),
                learned: addMonths(watch.firstSeen, 31),
                how: 'the owner wrote that it is sold',
              },
            ],
            events: [{ event: 'cell-fitted', ...own(addMonths(watch.firstSeen, 16)) }],
          },
        ],
      }
    },
  },
  {
    name: 'owner deceased',
    times: 12,
    make: (invent) => {
      const group = household(invent)
      const on = addDays(invent.today, -invent.dice.whole(5, 300))
      return {
        ...group,
        owners: group.owners.map((owner) => ({ ...owner, deceased: { on, toldBy: 'a daughter, by telephone' } })),
      }
    },
  },
  {
    name: 'letters refused',
    times: 26,
    make: (invent) => withChoice(invent, choices('no', invent.someDay(invent.since, invent.today))),
  },
  {
    name: 'letters about one kind refused',
    times: 20,
    make: (invent, nth) => {
      const on = invent.someDay(invent.since, invent.today)
      return withChoice(invent, [
        ...choices('yes', on),
        ...choices('no', on, [(['cell-change', 'complete-service', 'water-check'] as const)[nth % 3] ?? 'cell-change']),
      ])
    },
  },
  {
    name: 'never asked about letters',
    times: 60,
    make: (invent, nth) => withChoice(invent, nth % 2 === 0 ? undefined : choices('not-asked', invent.since)),
  },
  {
    name: 'two records of one person, merged',
    times: 12,
    make: (invent) => {
      const group = doubles(invent)
      const [kept, double] = group.owners
      return { ...group, merge: { record: double?.ref ?? '', into: kept?.ref ?? '' } }
    },
  },
  { name: 'two records that look like one person', times: 6, make: (invent) => doubles(invent) },
  {
    name: 'in dispute, or not served',
    times: 6,
    make: (invent, nth) => {
      const group = household(invent)
      return {
        ...group,
        owners: group.owners.map((owner) => ({
          ...owner,
          standing: nth % 2 === 0 ? ('in-dispute' as const) : ('do-not-serve' as const),
        })),
      }
    },
  },
  {
    name: 'no address at all',
    times: 6,
    make: (invent) => {
      const group = household(invent)
      return { ...group, owners: group.owners.map((owner) => ({ ...owner, contacts: [] })) }
    },
  },
  {
    name: 'asked again and again how it is worn',
    times: 5,
    make: (invent) => {
      const { owner } = invent.owner()
      const invented = invent.watch({
        owner,
        sort: sortOf('everyday-automatic'),
        firstSeen: addMonths(invent.today, -70),
      })
      const seen = invented.watch.firstSeen
      const asked = [0, 20, 40, 66].map((months) => askedAbout(invent.dice, invented, addMonths(seen, months)))
      return {
        owners: [owner],
        watches: [
          { ...invented.watch, events: [{ event: 'complete-service', ...own(addMonths(seen, 15)) }], wear: asked },
        ],
      }
    },
  },
]

function withChoice(invent: Inventing, noticeChoices: Group['owners'][number]['noticeChoices']): Group {
  const group = household(invent)
  return { ...group, owners: group.owners.map((owner) => ({ ...owner, noticeChoices })) }
}

/** Two spellings of one person's name with one telephone number and mail address, and a watch in each record. */
function doubles(invent: Inventing): Group {
  const { owner, person } = invent.owner()
  const n = Number(owner.ref.slice('owner-'.length))
  const contacts = [mailOf(person, n), phoneOf(n)]
  const { owner: again } = invent.owner({ person: { ...person, name: person.name.replace(/(.)\1|[ay]/, '$1h') } })
  const watch = (record: typeof owner) => {
    const { watch: booked } = invent.watch({
      owner: record,
      sort: sortOf('everyday-quartz'),
      firstSeen: addMonths(invent.today, -40),
    })
    const fitted = addDays(addMonths(invent.today, -24), invent.dice.whole(1, 30))
    return { ...booked, events: [{ event: 'cell-fitted' as const, ...own(fitted) }] }
  }
  return {
    owners: [
      { ...owner, contacts },
      { ...again, contacts },
    ],
    watches: [watch(owner), watch(again)],
  }
}

const calibreOf = (watch: ImportedWatch) => {
  const found = ofFamily('quartz').find((calibre) => calibre.name === watch.calibre) ?? ofFamily('quartz')[0]
  if (!found) throw new Error('no quartz calibre')
  return found
}

export const cases: readonly Case[] = [...watches, ...people]
