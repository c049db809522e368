import { v7 as uuidv7 } from 'uuid'
import type { Day } from '../../domain/day.ts'
import { readLocalSettings } from '../../domain/local-settings.ts'
import type { Money } from '../../domain/money.ts'
import { standingOf } from '../../domain/notices/standing.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { coverOf, guaranteeEnd } from '../../domain/tickets/guarantee.ts'
import { nextFor } from '../../domain/tickets/next.ts'
import { ticketNumber } from '../../domain/tickets/number.ts'
import { readTicketRules } from '../../domain/tickets/rules.ts'
import { type Look, mightBeTaken } from '../../domain/tickets/twins.ts'
import type { Created } from '../../http/creating.ts'
import type { SqlAct } from '../../http/creating-by-sql.ts'
import { rewriteObligations } from '../obligations/rewrite.ts'
import { likelyDouble, likelyDoubles } from '../owners/doubles.ts'
import { addOwners, type NewOwner } from '../owners/owners.ts'
import { watchDoubles } from '../watches/doubles.ts'
import { addWatches, type NewWatch } from '../watches/watches.ts'
import { type Background, readBackground, readGuarantees, writeTicket } from './booking-sql.ts'
import { calendarOf, type Desk } from './desk.ts'

export type Booking = {
  owner: { id: string } | { new: NewOwner; confirmedNew?: boolean | undefined }
  watch: { id: string } | { new: Omit<NewWatch, 'ownerId'>; confirmedNew?: boolean | undefined }
  broughtBy?: string | undefined
  complaint: string
  returnWish?: string | undefined
  place: string
  dial?: string | undefined
  pictures?: { id: string; view: string }[] | undefined
  condition?: { marks: unknown[] | null; clasp: string; agreed?: string | null | undefined } | undefined
  looseItems?: { bag: string; words: string }[] | undefined
  declaredValue?: Money | null | undefined
  ceiling?: Money | undefined
  doNot?: string[] | undefined
  mayApprove?: string[] | undefined
  mayCollect?: string[] | undefined
  willCallIn?: boolean | undefined
  hazards?: { kind: string; note?: string | undefined; confirmedBy?: string | undefined }[] | undefined
  comebackOf?: string | undefined
  handingIn?: string | undefined
}

/**
 * Books a watch in: in one act the owner and the watch (found or made), the ticket with everything said at the counter, the
 * watch's first place. Answers with what else is due on it, which guarantees of earlier tickets still run, and with the
 * watches in the house it might be taken for.
 */
export async function bookIn(desk: Desk, input: Booking, country: string): Promise<Created> {
  const owner = 'id' in input.owner ? input.owner.id : await newOwner(desk, input.owner, country)
  const watch = 'id' in input.watch ? input.watch.id : await newWatch(desk, input.watch, owner)
  const query: SqlAct['query'] = (_name, text, values) => desk.tx.$queryRawUnsafe(text, ...values)
  return bookKnown({ ...desk, query }, input, owner, watch)
}

/** Who books in, over whichever connection. */
export type Booker = SqlAct & { readonly currency: string }

/** Books in a watch on file under an owner on file: two statements, a third for a watch with guarantees, whatever was said. */
export async function bookKnown(at: Booker, input: Booking, owner: string, watch: string): Promise<Created> {
  const background = await readBackground(at, input, owner, watch)
  const made = ownerAndWatch(background, input)
  const look: Look = {
    maker: made.watch.maker,
    model: made.watch.model,
    metal: made.watch.metal,
    dial: input.dial ?? null,
    diameterMm: made.watch.diameter,
  }
  const id = uuidv7()
  const number = ticketNumber(background.serial)
  const rules = readTicketRules(background.settings ?? {})
  const next = nextFor('booked-in', at.today, calendarOf(readLocalSettings(background.settings ?? {})), rules)!
  const alike = await writeTicket(at, {
    id,
    number,
    input,
    owner,
    watch,
    ownerName: made.owner.name,
    look,
    next,
    earlier: background.earlier?.id ?? null,
  })
  const twins = alike
    .filter((row) => mightBeTaken(look, row, rules.twinMillimetres))
    .map(({ diameterMm: _, ...twin }) => twin)
  return {
    location: `/v1/tickets/${id}`,
    body: {
      id,
      number,
      step: 'booked-in',
      watchId: watch,
      ownerId: owner,
      nextActor: next.actor,
      nextBy: next.by,
      alsoDue: (background.due ?? []).map((due) => ({
        kind: due.kind,
        rule: due.rule,
        dueOn: due.dueOn,
        standing: standingOf(due, at.today),
      })),
      warnings: [...(background.warnings ?? []), ...aboutOwner(made.owner)],
      guarantees: background.guaranteed ? runningGuarantees(await readGuarantees(at, watch), at.today) : [],
      twins,
      doNot: [...new Set([...made.watch.doNot, ...(input.doNot ?? [])])],
    },
  }
}

/** What whoever stands at the counter has to know of the owner before the watch goes on. */
const aboutOwner = (owner: NonNullable<Background['owner']>): string[] => [
  ...(owner.deceased ? ['owner-deceased'] : []),
  ...(owner.standing === 'in-dispute' ? ['owner-in-dispute'] : []),
]

/** What earlier tickets still answer for today: the watch may be back under its guarantee. */
const runningGuarantees = (rows: Awaited<ReturnType<typeof readGuarantees>>, today: Day) =>
  rows.flatMap(({ ticket, what, startsOn, months, daysAdded }) => {
    const lastDay = guaranteeEnd(startsOn, months, daysAdded)
    return lastDay !== null && coverOf(lastDay, today, 'no').covered ? [{ ticket, what, lastDay }] : []
  })

async function newOwner(
  desk: Desk,
  owner: { new: NewOwner; confirmedNew?: boolean | undefined },
  country: string,
): Promise<string> {
  if (!owner.confirmedNew) {
    const candidates = await likelyDoubles(desk.tx, owner.new, country, '/owner/new')
    if (candidates.length > 0) throw likelyDouble('an owner', candidates, { part: 'owner' })
  }
  const [id] = await addOwners(desk, [owner.new], country, () => '/owner/new')
  return id!
}

async function newWatch(
  desk: Desk,
  watch: { new: Omit<NewWatch, 'ownerId'>; confirmedNew?: boolean | undefined },
  owner: string,
): Promise<string> {
  const { same, alike } = await watchDoubles(desk.tx, watch.new, owner)
  if (same.length > 0 && !watch.new.knownDuplicate)
    throw likelyDouble('a watch', same, {
      part: 'watch',
      anyway: '"knownDuplicate": true in "new", if there really are two with this serial,',
    })
  if (alike.length > 0 && !watch.confirmedNew) throw likelyDouble('a watch', alike, { part: 'watch' })
  const [id] = await addWatches(desk, [{ ...watch.new, ownerId: owner }])
  await rewriteObligations(desk.tx, [id!], desk.today)
  return id!
}

function ownerAndWatch(background: Background, input: Booking) {
  const { owner, watch, earlier } = background
  if (!owner) throw new Refusal('not-found', { what: 'owner', id: 'id' in input.owner ? input.owner.id : '' })
  if (!watch) throw new Refusal('not-found', { what: 'watch', id: 'id' in input.watch ? input.watch.id : '' })
  if (owner.merged !== null) throw new Refusal('owner-merged', { into: owner.merged })
  if (owner.erased) throw new Refusal('owner-erased')
  if (owner.standing === 'do-not-serve') throw new Refusal('owner-not-served')
  if (watch.inside !== null) throw new Refusal('watch-in-house', { number: watch.inside })
  if (watch.owner !== null && watch.owner !== owner.id) throw new Refusal('watch-of-another', { owner: watch.owner })
  const wanted = new Set((input.pictures ?? []).map((picture) => picture.id))
  if (background.pictures !== wanted.size || wanted.size !== (input.pictures ?? []).length) {
    throw faulty(['/pictures', 'names a picture that was not uploaded here, or one twice'])
  }
  if (input.comebackOf !== undefined) {
    if (!earlier) throw new Refusal('not-found', { what: 'ticket', id: input.comebackOf })
    if (earlier.watch !== watch.id) throw faulty(['/comebackOf', 'is the ticket of another watch'])
    if (!earlier.ended) throw faulty(['/comebackOf', 'is a ticket that has not ended'])
  }
  return { owner, watch }
}
