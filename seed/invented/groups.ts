import { type Day, dayOfNumber, numberOfDay } from '../../src/domain/day.ts'
import type { ImportedOwner, ImportedWatch } from '../../src/features/imports/imports.ts'
import { type Dice, dice } from '../random.ts'
import { liveThrough } from './history.ts'
import { choices, languageOf, mailOf, type Person, person, phoneOf, postOf } from './people.ts'
import { anySort, type Invented, inventWatch, type Sort } from './watch.ts'

/** Owners and watches that refer to one another and must be loaded together; `merge`: record → the record of the same person. */
export type Group = {
  owners: ImportedOwner[]
  watches: ImportedWatch[]
  merge?: { record: string; into: string }
}

/** Hands out numbers and dice, so that no two records of the centre share a name of ours, a serial or an address by chance. */
export type Inventing = {
  dice: Dice
  today: Day
  /** the first day of the eight years */
  since: Day
  owner: (of?: Partial<ImportedOwner> & { person?: Person }) => { owner: ImportedOwner; person: Person }
  /** a watch of this owner, as booked in; its life is the caller's next step */
  watch: (of: { owner: ImportedOwner; sort?: Sort; firstSeen?: Day }) => Invented
  /** the same, with eight years of facts */
  lived: (of: { owner: ImportedOwner; sort?: Sort; firstSeen?: Day }) => ImportedWatch
  someDay: (from: Day, to: Day) => Day
}

export function inventing(
  seed: number,
  part: string,
  today: Day,
  numbers: { owner: number; watch: number },
): Inventing {
  const own = dice(seed, part)
  const since = `${Number(today.slice(0, 4)) - 8}${today.slice(4)}` as Day
  const someDay = (from: Day, to: Day) => dayOfNumber(own.whole(numberOfDay(from), numberOfDay(to)))

  const owner: Inventing['owner'] = ({ person: given, ...fields } = {}) => {
    const n = numbers.owner++
    const someone = given ?? person(own, languageOf(own))
    const { name, formOfAddress, language } = someone
    return {
      person: someone,
      owner: {
        ref: `owner-${n}`,
        name,
        formOfAddress,
        language,
        contacts: contactsOf(own, someone, n),
        noticeChoices: choices('yes', someDay(since, today)),
        ...fields,
      },
    }
  }
  const watch: Inventing['watch'] = ({ owner, sort, firstSeen }) =>
    inventWatch(own, sort ?? anySort(own), numbers.watch++, firstSeen ?? someDay(since, lastSeen(today)), {
      ref: owner.ref,
      language: owner.language as Person['language'],
    })
  return {
    dice: own,
    today,
    since,
    owner,
    watch,
    lived: (of) => liveThrough(own, watch(of), today),
    someDay,
  }
}

const lastSeen = (today: Day): Day => dayOfNumber(numberOfDay(today) - 5)

function contactsOf(own: Dice, someone: Person, n: number) {
  const mail = mailOf(someone, n)
  const phone = phoneOf(n)
  return own.weighed([
    [[mail, phone], 62],
    [[mail], 24],
    [[mail, postOf(own, someone.language)], 9],
    [[phone], 3],
    [[phone, postOf(own, someone.language)], 2],
  ])
}

/** The ordinary run of people: one to four watches each. */
export function household(invent: Inventing): Group {
  const { owner } = invent.owner()
  const count = invent.dice.weighed([
    [1, 66],
    [2, 22],
    [3, 8],
    [4, 4],
  ])
  return { owners: [owner], watches: Array.from({ length: count }, () => invent.lived({ owner })) }
}

/** A business account with a drawer of watches. */
export function firm(invent: Inventing, name: string): Group {
  const { owner } = invent.owner({ name, formOfAddress: undefined, isFirm: true, standing: 'business-account' })
  return {
    owners: [owner],
    watches: Array.from({ length: invent.dice.whole(6, 18) }, () => invent.lived({ owner })),
  }
}
