import type { Day } from '../../domain/day.ts'
import { type LocalSettings, readLocalSettings } from '../../domain/local-settings.ts'
import type { Money } from '../../domain/money.ts'
import { type Tolerances, tolerancesFor, underLithium } from '../../domain/readings/judge.ts'
import type { HouseClass, HouseLimits } from '../../domain/readings/limits.ts'
import { type Certificate, doubtfulSpans, isInDate } from '../../domain/readings/tools.ts'
import { limitsUnder, type TestedWatch, usualTestPressure } from '../../domain/readings/water.ts'
import { serialKey } from '../../domain/searching.ts'
import { isThreeVolt } from '../../domain/stock/sizes.ts'
import { observationOf, type WorkClassName } from '../../domain/tickets/classes.ts'
import { readTicketRules, type TicketRules } from '../../domain/tickets/rules.ts'
import type {
  HazardKind,
  Mark,
  OpeningKind,
  Override,
  SealCondition,
  Snapshot,
  TestKind,
  Version,
  View,
  WaterClaim,
} from '../../domain/tickets/snapshot.ts'
import type { Ending, GateName, SideState, Step } from '../../domain/tickets/steps.ts'
import { type JudgedBy, readTicketTables, type TicketTables } from '../../domain/tickets/tables.ts'
import { mightBeTaken } from '../../domain/tickets/twins.ts'
import { billFor, holdsDeposit, paidOf } from './bill.ts'
import type { EstimateRow, RecordRow, Rows } from './reading.ts'
import { nameOf, recordsOf, saidBefore, workersOf } from './standing.ts'

/** The rows of a ticket, its settings, and the snapshot that the gates are asked of. */
export type Loaded = {
  readonly rows: Rows
  readonly records: readonly RecordRow[]
  readonly settings: LocalSettings
  /** the house rules of tickets in force on the day it was read for */
  readonly rules: TicketRules
  readonly tables: TicketTables
  readonly snapshot: Snapshot
  /** the open tickets whose watch might be taken for this one */
  readonly twins: NonNullable<Rows['alike']>
}

export const samePerson = (a: string, b: string): boolean => nameOf(a) === nameOf(b)

/** Kinds of hazard as the book keeps them, as the gate asks for them; the others are cautions, not gates. */
const hazardKinds: Readonly<Record<string, HazardKind>> = {
  radium: 'radium',
  'maybe-radium': 'may-be-radium',
  'leaking-cell': 'leaking-cell',
  'water-inside': 'water-inside',
}

/** Old lume without a mark is taken for radium until it is measured (common practice, no source). */
export const lumeMayBeRadium = (luminous: string, made: string | null, untilYear: number): boolean =>
  luminous === 'radium' ||
  luminous === 'unknown-old' ||
  (luminous === 'unknown' && made !== null && Number(made.slice(0, 4)) < untilYear)

export function load(rows: Rows, now: number, today: Day, currency: string): Loaded {
  const records = recordsOf(rows)
  const of = (...kinds: string[]) => records.filter((record) => kinds.includes(record.kind))
  const last = (kind: string): RecordRow | null => of(kind).at(-1) ?? null
  const settings = readLocalSettings(rows.settings ?? {})
  const rules = readTicketRules(rows.settings ?? {})
  const tables = readTicketTables(rows.settings ?? {})
  const t = rows.ticket as unknown as TicketRow
  const w = rows.watch as unknown as WatchRow
  const mark = (record: { id: string; seq: number; at: number; by: string }): Mark => ({
    id: record.id,
    seq: record.seq,
    at: record.at,
    by: record.by,
  })
  const marked = <T>(record: RecordRow | null, make: (data: Record<string, unknown>) => T): (Mark & T) | null =>
    record === null ? null : { ...mark(record), ...make(record.data) }
  const people = peopleOf(rows)
  const versions = (rows.estimates ?? []).map(versionOf)
  const recorded: Snapshot['openings'] = records.flatMap((record) => {
    if (record.kind === 'opening') return [{ ...mark(record), kind: 'case-opened' as OpeningKind }]
    const kind = record.kind === 'fitting' ? (record.data.opening as OpeningKind | undefined) : undefined
    return kind === undefined ? [] : [{ ...mark(record), kind }]
  })
  // an opening recorded past the ticket, at the stock or in the book, opens the case all the same
  const told = new Set(records.flatMap((record) => (record.data.facts as string[] | undefined) ?? []))
  const strays = (rows.opened ?? []).filter((fact) => !saidBefore(rows, fact.id).some((id) => told.has(id)))
  const openings = [
    ...recorded,
    ...strays.map((fact) => ({ id: fact.id, seq: 0, at: fact.at, by: fact.by, kind: fact.event as OpeningKind })),
  ]
  const workClass = t.work_class as WorkClassName | null
  const houseClass = houseClassOf(rows, workClass, tables)
  const observing = of('move').findLast((record) => record.data.to === 'under-observation') ?? null
  const readings = of('reading')
  const waterAgreement = last('water-agreement')?.data as { bar?: number | null; needed?: TestKind[] } | undefined
  const finalCheck = last('final-check')
  const release = last('release')
  const services = new Set(
    (rows.estimates ?? []).flatMap(({ lines }) => lines ?? []).flatMap((one) => (one.complete_service ? [one.id] : [])),
  ) as ReadonlySet<string | null>
  const picturesOf = (stage: string) =>
    (rows.pictures ?? []).filter((p) => p.stage === stage).map((p) => ({ ...mark(p), view: p.view as View }))
  const base: Snapshot = {
    now,
    today,
    ticket: {
      id: t.id,
      number: t.number,
      step: t.step,
      side: t.side,
      ended: t.ended,
      undone: t.undone,
      comebackOf: t.comeback_of,
      steppedSeq: Number(t.stepped_seq),
    },
    owner: {
      ...(last('people') ? mark(last('people')!) : noMark),
      known: true,
      reach: rows.owner.reachable ? 'yes' : people.willCallIn ? 'will-call-in' : 'no',
      deceased: rows.owner.deceased,
    },
    watch: {
      ...noMark,
      serial: w.serial === null ? null : serialKey(w.serial),
      sizeMm: w.diameter_mm,
      claim: w.claim_marked,
      lumeMayBeRadium: lumeMayBeRadium(w.luminous, w.made, rules.radiumUntilYear),
    },
    pictures: picturesOf('booking-in'),
    finalPictures: picturesOf('final-check'),
    condition: marked(last('condition'), (d) => ({
      marks: (d.marks as unknown[] | null)?.length ?? null,
      clasp: d.clasp as 'there',
      agreed: (d.agreed ?? null) as 'owner' | null,
    })),
    declared: marked(last('value'), (d) => ({ value: (d.value as Money | null) ?? null })),
    coverArranged: last('cover') ? mark(last('cover')!) : null,
    custody: (rows.custody ?? []).map((move) => ({ ...mark(move), from: move.from, to: move.to, holder: move.holder })),
    hazards: hazardsOf(rows, records, mark),
    hazardConfirmed: marked(last('hazard-confirmed'), (d) => ({ benchMay: d.benchMay === true })),
    versions,
    answers: (rows.answers ?? []).map((a) => ({
      ...mark(a),
      version: a.version,
      line: a.line,
      answer: a.answer,
      on: a.on as Day,
      entitled: true,
      how: a.how as 'phone',
      total: { amount: a.total, currency: versions.find((v) => v.n === a.version)?.total.currency ?? currency },
      confirmedInWriting: of('yes-confirmed').some((c) => c.data.version === a.version && c.seq > a.seq),
    })),
    revoked: last('revocation') ? mark(last('revocation')!) : null,
    ceiling: marked(last('ceiling'), (d) => ({ amount: d.amount as Money })),
    parts: partsOf(last('parts'), mark, holdsDeposit(of('payment'))),
    kit: marked(last('kit'), (d) => ({ ...d, lines: (d.lines as string[] | undefined) ?? [] })) as Snapshot['kit'],
    work: of('operation').map((record) => ({
      ...mark(record),
      // what a version repeats was done when the first was
      seq: records.find((one) => one.id === record.data.carriedFrom)?.seq ?? record.seq,
      line: record.line,
      state: record.data.state as 'done' | 'struck',
      reason: (record.data.reason as string | undefined) ?? null,
      endedAt: record.at,
    })),
    fitted: of('fitting')
      .filter((record) => record.data.opening !== 'cell-removed')
      .map((record) => ({
        ...mark(record),
        what: String(record.data.what),
        lotKnown: record.lot !== null || record.data.condition !== undefined,
        because: (record.data.lotUnknownBecause as string | undefined) ?? null,
        recalled: rows.recalled?.includes(record.id) ?? false,
      })),
    openings,
    closings: of('closing').map(mark),
    seals: records.flatMap((record): Snapshot['seals'] => {
      if (record.kind === 'seals-seen')
        return (record.data.seals as { position: string; condition: SealCondition }[]).map((seal) => ({
          ...mark(record),
          position: seal.position,
          seen: seal.condition,
        }))
      return record.kind === 'fitting' && record.data.opening === 'seals-replaced'
        ? [{ ...mark(record), position: String(record.data.position), seen: null }]
        : []
    }),
    water: {
      needed: waterAgreement?.needed ?? ['overpressure-dry'],
      agreedBar:
        waterAgreement === undefined
          ? usualTestPressure(testedWatch(rows), limitsUnder(rules))
          : (waterAgreement.bar ?? null),
      withdrawn: marked(last('claim-withdrawn'), (d) => ({
        ownerSigned: d.ownerSigned === true,
        managerSigned: d.managerSigned === true,
      })),
      tests: of('water-test').map((record) => testOf(rows, record, mark)),
    },
    observation: {
      classKnown: workClass !== null,
      classSaid: marked(of('look').findLast((record) => record.data.workClass !== undefined) ?? null, () => ({})),
      movementWorked: of('operation', 'fitting').some(
        (record) =>
          record.data.opening === 'movement-fitted' || (record.data.state === 'done' && services.has(record.line)),
      ),
      asked: observationOf(workClass, tables.readingsByClassOfWork, settings.observationHours),
      started: observing,
      readings: {
        kind: readings.some((r) => r.data.family === 'quartz') ? 'quartz' : 'mechanical',
        list: readings.map((record) => ({
          ...mark(record),
          wind: record.data.wind as 'full',
          position: (record.data.position as string | null) ?? null,
          hoursSinceWound: (record.data.hoursSinceWound as number | null) ?? null,
          values: record.data.values as Record<string, number | null>,
          ...toolOf(rows, record),
          ...keptLimits(rows, record, houseClass),
        })),
      },
      tolerances: tolerances(rows, tables.toleranceByHouseClass[houseClass]),
      powerReserveHours: rows.calibre?.reserve ?? null,
      accepted: marked(last('readings-accepted'), (d) => ({ reason: String(d.reason) })),
    },
    finalCheck:
      finalCheck === null
        ? null
        : {
            ...mark(finalCheck),
            by: nameOf(finalCheck.name),
            passed: finalCheck.data.passed === true,
            on: finalCheck.on as Day,
            mayCheck: (rows.checkers ?? []).includes(finalCheck.by),
          },
    workers: workersOf(rows, strays),
    struck: rows.strikes ?? [],
    notices: of('contact')
      .filter((record) => record.data.about === 'ready')
      .map((record) => ({ ...mark(record), kind: 'ready', state: stateOfTelling(rows, record) })),
    atCounter: last('at-counter') ? mark(last('at-counter')!) : null,
    release: marked(release, (d) => d) as Snapshot['release'],
    twins: 0,
    loose: (rows.loose ?? []).map((item) => item.bag),
    bill: null,
    paid: of('payment').map(mark),
    paidTotal: paidOf(of('payment')),
    creditAllowed: rows.owner.standing === 'business-account' && of('payment').some((p) => p.data.how === 'credit'),
    comeback: marked(last('comeback'), (d) => {
      const lines = (d.lines ?? []) as { because?: string }[]
      return {
        linesDecided: lines.length,
        linesAsked: rows.earlier_lines,
        reasonsGiven: lines.every((l) => (l.because ?? '') !== ''),
      }
    }),
    overrides: of('override').map((record) => ({
      ...mark(record),
      by: record.name,
      gate: record.data.gate as GateName,
      part: String(record.data.part),
      reason: String(record.data.reason),
      role: record.data.role as Override['role'],
      lookedAt: (record.data.lookedAt as string | null) ?? null,
    })),
    settings: {
      conditionLine: { amount: rules.conditionLineAmount, currency },
      coverPerItem: settings.coverPerItem,
      phoneYesUpTo: settings.phoneYesUpTo,
      radiationRules: settings.radiationRules !== null,
      depositForSpecialOrders: rules.depositForSpecialOrders === 1,
      sameCheckerNextDay: rules.sameCheckerNextDay === 1,
    },
  }
  const look = { maker: w.maker, model: w.model, metal: w.case_material, dial: t.dial, diameterMm: w.diameter_mm }
  const twins = (rows.alike ?? []).filter((other) => mightBeTaken(look, other, rules.twinMillimetres))
  const snapshot = { ...base, twins: twins.length, bill: billFor(rows, base) }
  return { rows, records, settings, rules, tables, snapshot, twins }
}

/** How far a "ready" got. A letter's record says only that it was queued: the notice itself knows the rest. */
export function stateOfTelling(rows: Rows, record: RecordRow): Snapshot['notices'][number]['state'] {
  const letter = rows.notices?.find((notice) => notice.record === record.id)
  if (!letter) return record.data.result as 'queued' | 'sent' | 'delivered' | 'failed'
  if (letter.returned || letter.state === 'failed' || letter.state === 'withdrawn') return 'failed'
  if (letter.deliveredAt !== null) return 'delivered'
  return letter.state === 'sent' ? 'sent' : 'queued'
}

const noMark: Mark = { id: 'book', seq: 0, at: 0, by: '' }

type TicketRow = {
  id: string
  number: string
  step: Step
  side: SideState | null
  ended: Ending | null
  undone: boolean
  comeback_of: string | null
  stepped_seq: number
  work_class: string | null
  dial: string | null
}
type WatchRow = {
  serial: string | null
  diameter_mm: number | null
  claim_marked: WaterClaim
  luminous: string
  made: string | null
  maker: string
  model: string | null
  case_material: string | null
}

export type People = { approve: readonly string[]; collect: readonly string[]; willCallIn: boolean }

/** Who may say yes and who may collect, each list for itself; the owner is on both. */
export function peopleOf(rows: Rows): People {
  const latest = (rows.records ?? []).findLast((record) => record.kind === 'people')?.data as
    | Partial<People>
    | undefined
  const owner = rows.owner.deceased ? [] : [rows.owner.name]
  return {
    approve: [...owner, ...(latest?.approve ?? [])],
    collect: [...owner, ...(latest?.collect ?? [])],
    willCallIn: latest?.willCallIn === true,
  }
}

/** What a water test has to know of the watch. */
export function testedWatch(rows: Rows): TestedWatch {
  const agreement = (rows.records ?? []).findLast((record) => record.kind === 'water-agreement')?.data as
    | { ownerConsents?: boolean; diver?: boolean }
    | undefined
  const { watch } = rows
  return {
    claim: watch.claim_marked as WaterClaim,
    ratedBar: watch.claim_bar === null ? null : Number(watch.claim_bar),
    diver: agreement?.diver === true,
    crystal: watch.crystal as TestedWatch['crystal'],
    vintage: rows.ticket.work_class === 'vintage',
    ownerConsents: agreement?.ownerConsents === true,
  }
}

function versionOf(row: EstimateRow): Version {
  return {
    id: row.id,
    seq: row.seq,
    at: row.at,
    by: row.by,
    n: row.n,
    total: { amount: row.total, currency: row.currency },
    validUntil: row.validUntil as Day | null,
    lines: (row.lines ?? []).map((line) => ({
      id: line.id,
      what: line.what,
      part: line.part,
      priced: line.unit_price !== null,
      taxClassKnown: line.tax_class !== null && line.tax_rate !== null,
      opensCase: line.opens_case,
      pressureTest: line.pressure_test,
      requiredBy: line.required_by,
    })),
  }
}

function hazardsOf(rows: Rows, records: readonly RecordRow[], mark: (r: RecordRow) => Mark): Snapshot['hazards'] {
  const seen = records.find((record) => record.kind === 'booked')
  // one told past the ticket stands where it was written down: both ids bear the machine's time
  const before = (id: string) => records.findLast((record) => record.id < id)
  return (rows.hazards ?? []).flatMap((hazard) => {
    const kind = hazardKinds[hazard.kind]
    if (kind === undefined) return []
    const told = records.find((record) => (record.data.hazards as string[] | undefined)?.includes(hazard.id))
    const noted = told ?? before(hazard.id) ?? seen
    return [{ ...(noted ? mark(noted) : noMark), id: hazard.id, kind, over: hazard.over }]
  })
}

function partsOf(record: RecordRow | null, mark: (r: RecordRow) => Mark, deposit: boolean): Snapshot['parts'] {
  const lines = (record?.data.lines ?? []) as Record<string, unknown>[]
  return lines.map((line) => ({
    ...mark(record!),
    line: (line.line as string | undefined) ?? null,
    what: line.what as string,
    onHand: line.onHand === true,
    special: line.special === true,
    deposit: deposit
      ? 'received'
      : line.deposit === undefined || line.deposit === 'not-asked'
        ? 'not-asked'
        : 'awaited',
    expectedOn: (line.expectedOn as Day | undefined) ?? null,
  }))
}

function testOf(rows: Rows, record: RecordRow, mark: (r: RecordRow) => Mark): Snapshot['water']['tests'][number] {
  return {
    ...mark(record),
    kind: record.data.test as TestKind,
    passed: record.data.passed === true,
    bar: (record.data.bar as number | null) ?? null,
    counts: record.data.counts === true,
    ...toolOf(rows, record, record.data.test === 'immersion'),
  }
}

/** Whether the tool of a result was in calibration on its day, and is not in doubt since; `free` where none is needed. */
function toolOf(rows: Rows, record: RecordRow, free = false): { toolInDate: boolean; toolDoubtful: boolean } {
  const tool = record.tool === null ? undefined : rows.tools?.[record.tool]
  const certificates = (tool?.certificates ?? []) as unknown as Certificate[]
  const on = record.on as Day
  return {
    toolInDate: record.tool === null ? free : isInDate(certificates, tool?.failed ?? [], on, tool?.blocked ?? true),
    toolDoubtful: doubtfulSpans(certificates).some((span) => (span.from === null || on >= span.from) && on <= span.to),
  }
}

/** The house class of a ticket: by its class of work; a thermocompensated calibre has its own wherever quartz is judged. */
export function houseClassOf(rows: Rows, workClass: WorkClassName | null, tables: TicketTables): HouseClass {
  const { houseClass } = tables.readingsByClassOfWork[workClass ?? 'three-hand']
  return rows.calibre?.thermocompensated === true && houseClass.startsWith('quartz') ? 'thermocompensated' : houseClass
}

function tolerances(rows: Rows, house: HouseLimits): Tolerances {
  const c = rows.calibre
  const maker = {
    ...(c?.limits ?? {}),
    // what drives a module draws more, where the maker says how much
    consumptionMax:
      (rows.ticket.work_class === 'quartz-chronograph' ? c?.withModuleMax : null) ?? c?.consumptionMax ?? null,
    coilResistanceMin: c?.coilMin ?? null,
    coilResistanceMax: c?.coilMax ?? null,
    workingVoltageMax: c?.workingVoltageMax ?? null,
  }
  return tolerancesFor(isThreeVolt(c?.cell ?? null) ? underLithium(house) : house, maker)
}

/** A reading is judged by the house table of its day, as long as the ticket is of the class it was then. */
function keptLimits(rows: Rows, record: RecordRow, houseClass: HouseClass): { limits?: Tolerances } {
  const by = record.data.judgedBy as JudgedBy | undefined
  return by?.houseClass === houseClass ? { limits: tolerances(rows, by.limits) } : {}
}
