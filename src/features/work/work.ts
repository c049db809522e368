import { dateOf } from '../../db/open.ts'
import type { WatchKind } from '../../domain/reckoning/facts.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { judgeGate } from '../../domain/tickets/gates.ts'
import { caseIsOpen } from '../../domain/tickets/gates-water.ts'
import { settingBehind } from '../../domain/tickets/missing-settings.ts'
import type { OpeningKind } from '../../domain/tickets/snapshot.ts'
import type { Created } from '../../http/creating.ts'
import { dayAt } from '../../http/service.ts'
import { fitCell } from '../cell-lots/fit.ts'
import { refuseWrongCell } from '../cell-lots/needs.ts'
import { fitGasket } from '../gasket-lots/gasket-lots.ts'
import {
  addRecords,
  backToBench,
  type Desk,
  instantFrom,
  lastOfCase,
  openTicket,
  reopen,
  takeWork,
} from '../tickets/desk.ts'
import { type WorkFact, withdrawTests, writeFacts } from '../tickets/facts.ts'
import { putPictures } from '../tickets/pictures.ts'
import type { Loaded } from '../tickets/snapshot.ts'
import { replaceMovement } from '../watches/watches.ts'

/** What every record of work answers with: its id, the step the ticket stands at, and the water gate. */
export const answered = async (desk: Desk, ticket: Loaded, id: string, more: object = {}): Promise<Created> => {
  const after = await reopen(desk, ticket.snapshot.ticket.id)
  const water = judgeGate('G11', after.snapshot)
  return {
    location: `/v1/tickets/${ticket.snapshot.ticket.id}`,
    body: { id, step: after.snapshot.ticket.step, water: { state: water.state, why: water.why }, ...more },
  }
}

export type OpeningInput = {
  reason: string
  /** what was found inside, part by part: nobody can say later that it was changed here */
  inventory?: { part: string; words: string; number?: string | undefined }[] | undefined
  /** uploaded pictures of it */
  pictures?: { id: string; view: string }[] | undefined
  at?: string | undefined
}

/** The case is opened. The hazard gate is asked at every opening; a test passed before it no longer counts. */
export async function openCase(desk: Desk, ref: string, input: OpeningInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { back } = takeWork(ticket, 'opening', 'an opening of the case')
  refuseHazard(ticket)
  if (caseIsOpen(ticket.snapshot))
    throw new Refusal('record-not-taken', {
      step: ticket.snapshot.ticket.step,
      what: 'an opening of a case that is open',
      cure: 'Close it first.',
    })
  if (input.inventory && !input.pictures) throw faulty(['/pictures', 'are missing: an inventory has pictures'])
  const at = instantFrom(desk, ticket, input.at, { after: lastOfCase(ticket) })
  await withdrawTests(desk, ticket)
  const facts = await writeFacts(desk, ticket, at, [{ event: 'case-opened' }])
  const [record] = await addRecords(desk, ticket.snapshot.ticket.id, [
    {
      kind: 'opening',
      at,
      data: { reason: input.reason, ...(input.inventory && { inventory: input.inventory }), facts },
    },
  ])
  if (input.pictures)
    await putPictures(desk, ticket.snapshot.ticket.id, { pictures: input.pictures, stage: 'bench' }, at)
  if (back) await backToBench(desk, ticket, `the case was opened: ${input.reason}`)
  return answered(desk, ticket, record!.id)
}

export function refuseHazard(ticket: Loaded): void {
  // a watch on its way back undone is asked for no bench only as long as it stays unopened
  const { snapshot } = ticket
  const hazard = judgeGate('G5', { ...snapshot, ticket: { ...snapshot.ticket, undone: false } })
  if (hazard.state === 'shut')
    throw new Refusal('gate-shut', {
      gate: 'G5',
      gateTitle: hazard.title,
      why: hazard.why,
      opens: hazard.opens,
      ...(settingBehind(hazard, snapshot) && { setting: settingBehind(hazard, snapshot) }),
    })
}

export async function closeCase(
  desk: Desk,
  ref: string,
  input: {
    torqueNcm?: number | undefined
    back?: string | undefined
    words?: string | undefined
    at?: string | undefined
  },
): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  takeWork(ticket, 'closing', 'a closing of the case')
  if (!caseIsOpen(ticket.snapshot)) throw new Refusal('case-not-to-close')
  const at = instantFrom(desk, ticket, input.at, { after: lastOfCase(ticket) })
  const { at: _, ...data } = input
  const [record] = await addRecords(desk, ticket.snapshot.ticket.id, [{ kind: 'closing', at, data }])
  return answered(desk, ticket, record!.id)
}

type FromStock = { eventId: string; entryIds: string[] }

/** The lot a piece came from, or why it is not known. */
export type LotNamed = { lot?: string | undefined; lotUnknownBecause?: string | undefined }

type Fitting = {
  what: string
  opening: OpeningKind
  data: object
  lot?: string | undefined
  /** entries of stock that this piece left by */
  entries?: readonly string[]
  fact: WorkFact
}

/** Whether something may be fitted now: at the bench, the hazard answered, the case open. */
function mayFit(ticket: Loaded, kind: 'fitting' | 'sealing'): { back: boolean } {
  const taken = takeWork(ticket, kind, 'a fitting')
  refuseHazard(ticket)
  if (!caseIsOpen(ticket.snapshot)) throw new Refusal('case-not-open')
  return taken
}

/**
 * Something fitted or taken out with the case open. What came from stock has told the book already, with its lot
 * (`facts`); anything else writes its fact here. All of it is one transaction.
 */
async function fitIn(
  desk: Desk,
  ticket: Loaded,
  back: boolean,
  at: Date,
  fittings: readonly Fitting[],
  fromStock: readonly string[] = [],
): Promise<string[]> {
  const missing = fromStock.length > 0 ? [] : fittings
  const written = await writeFacts(desk, ticket, at, [
    ...new Map(missing.map((fitting) => [fitting.opening, fitting.fact])).values(),
  ])
  const facts = [...fromStock, ...written]
  const records = await addRecords(
    desk,
    ticket.snapshot.ticket.id,
    fittings.map((fitting) => ({
      kind: 'fitting',
      at,
      lot: fitting.lot ?? null,
      data: {
        ...fitting.data,
        what: fitting.what,
        opening: fitting.opening,
        facts,
        ...(fitting.entries && { entries: fitting.entries }),
      },
    })),
  )
  if (back) await backToBench(desk, ticket, `fitted: ${fittings.map((fitting) => fitting.what).join(', ')}`)
  return records.map((record) => record.id)
}

export type SealInput = {
  seals: ({
    position: string
    material?: string | undefined
    innerMm?: number | undefined
    cordMm?: number | undefined
    profile?: string | undefined
    conditionSeen?: string | undefined
    greasedWith?: string | undefined
  } & LotNamed)[]
  at?: string | undefined
}

/**
 * New gaskets by position. Those from stock leave the book of the stock by their lot, which is judged by its storage life
 * on the day; a position not found supple is replaced before any test counts.
 */
export async function replaceSeals(desk: Desk, ref: string, input: SealInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const at = instantFrom(desk, ticket, input.at, { after: lastOfCase(ticket) })
  const { back } = mayFit(ticket, 'sealing')
  const gaskets = input.seals.flatMap(({ lot, position }) =>
    lot === undefined ? [] : [{ lotId: lot, pieces: 1, position }],
  )
  const facts: string[] = []
  const entries: string[] = []
  if (gaskets.length > 0) {
    const fitted = await fitGasket(desk, {
      watchId: String(ticket.rows.watch.id),
      ticketId: ticket.snapshot.ticket.id,
      on: dayAt(at, desk.zone),
      gaskets,
    })
    const { eventId, entryIds } = fitted.body as FromStock
    facts.push(eventId)
    entries.push(...entryIds)
  }
  const ids = await fitIn(
    desk,
    ticket,
    back,
    at,
    input.seals.map((seal) => ({
      what: `seal: ${seal.position}`,
      opening: 'seals-replaced',
      data: seal,
      lot: seal.lot,
      // an entry for each seal with a lot, in their order
      ...(seal.lot !== undefined && { entries: entries.splice(0, 1) }),
      fact: { event: 'seals-replaced' },
    })),
    facts,
  )
  return answered(desk, ticket, ids[0]!, { ids })
}

export type CellInput = {
  designation: string
  pieces: number
  bestBefore?: string | undefined
  capacityMah?: number | undefined
  /** id of the reading its consumption came from */
  consumptionReading?: string | undefined
  at?: string | undefined
} & LotNamed

/** A cell into the case: from its lot, graded on the day and with its best-before; or with a lot that is not known. */
export async function recordCellFitting(desk: Desk, ref: string, input: CellInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  refuseWrongCell(ticket.rows.watch.kind as WatchKind, ticket.rows.calibre?.energy)
  const at = instantFrom(desk, ticket, input.at, { after: lastOfCase(ticket) })
  const { back } = mayFit(ticket, 'fitting')
  const reading =
    input.consumptionReading === undefined
      ? undefined
      : ticket.records.find((record) => record.id === input.consumptionReading && record.kind === 'reading')
  if (input.consumptionReading !== undefined && !reading)
    throw faulty(['/consumptionReading', 'is no reading of this ticket'])
  const microamps = (reading?.data.values as Record<string, number | null> | undefined)?.consumption ?? null
  const facts: string[] = []
  const entries: string[] = []
  if (input.lot !== undefined) {
    const fitted = await fitCell(desk, {
      watchId: String(ticket.rows.watch.id),
      ticketId: ticket.snapshot.ticket.id,
      on: dayAt(at, desk.zone),
      cells: [{ lotId: input.lot, pieces: input.pieces }],
      ...(microamps !== null && { consumptionMicroamps: microamps }),
    })
    const { eventId, entryIds } = fitted.body as FromStock
    facts.push(eventId)
    entries.push(...entryIds)
  }
  const ids = await fitIn(
    desk,
    ticket,
    back,
    at,
    [
      {
        entries,
        what: `cell ${input.designation}`,
        opening: 'cell-fitted',
        data: input,
        lot: input.lot,
        fact: {
          event: 'cell-fitted',
          bestBefore: (input.bestBefore ?? null) as never,
          capacityMah: input.capacityMah ?? null,
          consumptionMicroamps: microamps,
        },
      },
    ],
    facts,
  )
  return answered(desk, ticket, ids[0]!)
}

export async function removeCell(
  desk: Desk,
  ref: string,
  input: { words?: string | undefined; leaking: boolean; at?: string | undefined },
): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const at = instantFrom(desk, ticket, input.at, { after: lastOfCase(ticket) })
  const { back } = mayFit(ticket, 'fitting')
  const ids = await fitIn(desk, ticket, back, at, [
    {
      what: 'cell removed',
      opening: 'cell-removed',
      data: { ...input, ...(input.leaking && { hazards: await leakSeen(desk, ticket) }) },
      fact: { event: 'cell-removed' },
    },
  ])
  return answered(desk, ticket, ids[0]!)
}

/** A cell found leaking is a hazard of the watch from then on, until it is neutralised; one that was known stays one. */
async function leakSeen({ tx, today, who }: Desk, { snapshot, rows }: Loaded): Promise<string[]> {
  if (snapshot.hazards.some((hazard) => hazard.kind === 'leaking-cell' && !hazard.over)) return []
  const made = await tx.hazard.create({
    data: { watchId: String(rows.watch.id), kind: 'leaking-cell', seenOn: dateOf(today), recordedBy: who.name },
  })
  return [made.id]
}

export type MovementInput = {
  calibreId: string
  kind?: string | undefined
  serial?: string | undefined
  condition: 'new' | 'freshly-serviced' | 'unknown'
}

/** Another movement in the case: from this day its own rules count. */
export async function fitMovement(desk: Desk, ref: string, input: MovementInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { back } = mayFit(ticket, 'fitting')
  await replaceMovement(desk, String(ticket.rows.watch.id), {
    ...input,
    kind: input.kind as 'quartz' | undefined,
    on: desk.today,
    source: 'own-record',
  })
  const fact = await desk.tx.watchEvent.findFirstOrThrow({
    where: { watchId: String(ticket.rows.watch.id), event: 'movement-fitted' },
    orderBy: { id: 'desc' },
    select: { id: true },
  })
  const [record] = await addRecords(desk, ticket.snapshot.ticket.id, [
    { kind: 'fitting', data: { ...input, what: 'movement', opening: 'movement-fitted', facts: [fact.id] } },
  ])
  if (back) await backToBench(desk, ticket, 'fitted: movement')
  return answered(desk, ticket, record!.id)
}
