import type { Day } from '../../domain/day.ts'
import {
  keptBeatError,
  type Measured,
  mechanicalFaults,
  mechanicalQueries,
  quartzFaults,
  quartzQueries,
  type ReadingFault,
} from '../../domain/readings/bounds.ts'
import { amplitudeOf, crownAt, monthlyOf, predictedMonths, rateOf, yearlyOf } from '../../domain/readings/computed.ts'
import { judgeReadings } from '../../domain/readings/judge.ts'
import { inBar, type Pressure } from '../../domain/readings/pressure.ts'
import {
  judgeWaterTest,
  limitsUnder,
  usualTestPressure,
  type WaterTest,
  waterTestFaults,
} from '../../domain/readings/water.ts'
import type { WatchKind } from '../../domain/reckoning/facts.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { isThreeVolt } from '../../domain/stock/sizes.ts'
import type { WorkClassName } from '../../domain/tickets/classes.ts'
import { judgeGate } from '../../domain/tickets/gates.ts'
import { caseIsOpen, newestTests, sealsInWords, sealsToReplace } from '../../domain/tickets/gates-water.ts'
import type { JudgedBy } from '../../domain/tickets/tables.ts'
import type { Created } from '../../http/creating.ts'
import { dayAt } from '../../http/service.ts'
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
import { writeFacts } from '../tickets/facts.ts'
import { houseClassOf, type Loaded, testedWatch } from '../tickets/snapshot.ts'
import { listTools } from '../tools/tools.ts'

const refuse = (faults: readonly ReadingFault[]): void => {
  if (faults.length > 0) throw faulty(...faults.map((fault) => [`/${fault.key}`, fault.detail] as const))
}

type Tool = { id: string; kind: string; inDate: boolean }

/** The tool of a result: there is none without one. Out of calibration it is recorded all the same, and opens nothing. */
async function toolOf(desk: Desk, id: string, kinds: readonly string[], on: Day): Promise<Tool> {
  const tool = (await listTools(desk.tx, on, id))[0]
  if (!tool) throw new Refusal('not-found', { what: 'tool', id }, [{ pointer: '/tool', detail: 'is not on file' }])
  if (!kinds.includes(tool.kind)) throw faulty(['/tool', `is a ${tool.kind}; this needs a ${kinds.join(' or ')}`])
  return { id, kind: tool.kind, inDate: tool.inDate }
}

export type TimingInput = {
  position: string
  wind: 'full' | 'after-24' | 'other'
  hoursSinceWound?: Measured | undefined
  rate?: Measured | undefined
  amplitude?: Measured | undefined
  beatError?: (Measured & { convention: 'half' | 'full' }) | undefined
  /** measured mean beat period in s: the rate is worked out from it */
  beatPeriodSeconds?: number | undefined
  /** measured lift time in s: the amplitude is worked out from it */
  liftTimeSeconds?: number | undefined
  liftAngle?: number | undefined
  liftAngleAssumed?: boolean | undefined
  integrationTime?: Measured | undefined
  temperature?: Measured | undefined
  tool: string
  at?: string | undefined
}

/** How a kind of watch is read; one of an electric balance by both instruments. */
const readAs = ({ rows }: Loaded): readonly ('mechanical' | 'quartz')[] => {
  const kind = rows.watch.kind as WatchKind
  if (kind === 'electric') return ['mechanical', 'quartz']
  return kind === 'hand-wound' || kind === 'self-winding' ? ['mechanical'] : ['quartz']
}

/** One position at one wind state, judged against the maker's tolerances or the house class. */
export async function recordTiming(desk: Desk, ref: string, input: TimingInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  takeWork(ticket, 'reading', 'a reading')
  const at = instantFrom(desk, ticket, input.at)
  const tool = await toolOf(desk, input.tool, ['timing-machine'], dayAt(at, desk.zone))
  const known = input.liftAngle ?? ticket.rows.calibre?.lift ?? null
  const assumed = known === null && input.liftAngleAssumed === true
  const liftAngle = assumed ? ticket.rules.assumedLiftAngle : known === null ? null : Number(known)
  const reading = { ...input, ...computed(ticket, input, liftAngle), liftAngle, liftAngleAssumed: assumed }
  refuse(mechanicalFaults(reading, ticket.rules.assumedLiftAngle))
  if (!readAs(ticket).includes('mechanical'))
    throw faulty(['/position', 'is of a balance, and this watch has none: record a quartz reading'])
  const values = {
    rate: reading.rate?.value ?? null,
    amplitude: reading.amplitude?.value ?? null,
    beatError: reading.beatError ? keptBeatError(reading.beatError) : null,
  }
  return recorded(desk, ticket, at, tool, {
    family: 'mechanical',
    position: input.position,
    crown: crownAt[input.position] ?? null,
    wind: input.wind,
    hoursSinceWound: input.hoursSinceWound?.value ?? null,
    liftAngle,
    liftAngleAssumed: assumed,
    beatErrorConvention: input.beatError?.convention ?? null,
    integrationTime: input.integrationTime?.value ?? null,
    temperature: input.temperature?.value ?? null,
    values,
    queries: mechanicalQueries(reading, ticket.tables.readingsAskedAgain),
  })
}

/** A rate from the beat period and an amplitude from the lift time, where those were measured instead. */
function computed(
  ticket: Loaded,
  input: TimingInput,
  liftAngle: number | null,
): { rate?: Measured; amplitude?: Measured } {
  const beats = ticket.rows.calibre?.beats ?? null
  const found: { rate?: Measured; amplitude?: Measured } = {}
  if (input.beatPeriodSeconds !== undefined) {
    if (beats === null) throw faulty(['/beatPeriodSeconds', 'the beat of this calibre is not known'])
    if (input.rate !== undefined) throw faulty(['/beatPeriodSeconds', 'stands beside a rate: give one of the two'])
    found.rate = { value: Math.round(rateOf(beats, input.beatPeriodSeconds) * 10) / 10, unit: 's/d' }
  }
  if (input.liftTimeSeconds !== undefined) {
    if (beats === null || liftAngle === null)
      throw faulty(['/liftTimeSeconds', 'the beat and the lift angle of this calibre must be known'])
    if (input.amplitude !== undefined)
      throw faulty(['/liftTimeSeconds', 'stands beside an amplitude: give one of the two'])
    const amplitude = amplitudeOf(liftAngle, input.liftTimeSeconds, beats)
    if (amplitude === null) throw faulty(['/liftTimeSeconds', 'is no lift time of this beat'])
    found.amplitude = { value: Math.round(amplitude * 10) / 10, unit: '°' }
  }
  return found
}

export type QuartzInput = {
  rate?: Measured | undefined
  measuringTime?: Measured | undefined
  inhibitionPeriod?: number | undefined
  consumption?: Measured | undefined
  consumptionInReset?: Measured | undefined
  lowerWorkingVoltage?: Measured | undefined
  cellVoltageOpen?: Measured | undefined
  cellVoltageUnderLoad?: Measured | undefined
  loadKiloohm?: number | undefined
  coilResistance?: Measured | undefined
  coilInsulated?: boolean | undefined
  pulseInterval?: Measured | undefined
  pulseWidth?: Measured | undefined
  testDrivePassed?: boolean | undefined
  capacityMah?: number | undefined
  tool: string
  at?: string | undefined
}

/** The capacity that stands in the book for the cell that is in the watch. */
async function capacityInside({ tx }: Desk, watchId: string): Promise<number | null> {
  const [fitted] = await tx.$queryRaw<{ event: string; mah: number | null }[]>`
    select v.event, v.capacity_mah::float8 as mah from watch_event v where v.watch_id = ${watchId}::uuid and v.event in ('cell-fitted', 'cell-removed')
      and not exists (select from strike s where s.fact_id = v.id) order by v.happened desc, v.id desc limit 1`
  return fitted?.event === 'cell-fitted' ? fitted.mah : null
}

export async function recordQuartz(desk: Desk, ref: string, given: QuartzInput): Promise<Created> {
  const input = { ...given, rate: given.rate && monthlyOf(given.rate) }
  const ticket = await openTicket(desk, ref)
  takeWork(ticket, 'reading', 'a reading')
  const at = instantFrom(desk, ticket, input.at)
  const tool = await toolOf(desk, input.tool, ['quartz-tester'], dayAt(at, desk.zone))
  const { calibre } = ticket.rows
  const onFile = calibre?.inhibition ?? null
  if (onFile !== null && input.inhibitionPeriod !== undefined && input.inhibitionPeriod !== onFile)
    throw faulty(['/inhibitionPeriod', `is ${onFile} s on file of this calibre: leave it out, or mend the calibre`])
  const inhibitionPeriod = input.inhibitionPeriod ?? onFile
  refuse(quartzFaults({ ...input, inhibitionPeriod, thermocompensated: calibre?.thermocompensated }))
  if (!readAs(ticket).includes('quartz'))
    throw faulty(['', 'is a reading of quartz, and this watch has a balance: record a timing reading'])
  const of = (measured: Measured | undefined) => measured?.value ?? null
  const values = {
    rate: of(input.rate),
    consumption: of(input.consumption),
    consumptionInReset: of(input.consumptionInReset),
    lowerWorkingVoltage: of(input.lowerWorkingVoltage),
    cellVoltageOpen: of(input.cellVoltageOpen),
    cellVoltageUnderLoad: of(input.cellVoltageUnderLoad),
    coilResistance: of(input.coilResistance),
    pulseInterval: of(input.pulseInterval),
    pulseWidth: of(input.pulseWidth),
  }
  const capacityMah = input.capacityMah ?? (await capacityInside(desk, String(ticket.rows.watch.id)))
  const months =
    values.consumption !== null && capacityMah !== null ? predictedMonths(capacityMah, values.consumption) : null
  return recorded(desk, ticket, at, tool, {
    family: 'quartz',
    position: null,
    wind: 'none',
    hoursSinceWound: null,
    measuringTime: of(input.measuringTime),
    inhibitionPeriod,
    loadKiloohm: input.loadKiloohm ?? null,
    testDrivePassed: input.testDrivePassed ?? null,
    coilInsulated: input.coilInsulated ?? null,
    capacityMah,
    predictedMonths: months === null ? null : Math.round(months * 100) / 100,
    ratePerYear:
      calibre?.thermocompensated === true && values.rate !== null
        ? Math.round(yearlyOf(values.rate) * 100) / 100
        : null,
    ...(given.rate && given.rate !== input.rate && { rateAsShown: given.rate }),
    values,
    queries: [
      ...quartzQueries(values.cellVoltageOpen, isThreeVolt(calibre?.cell ?? null), ticket.tables.readingsAskedAgain),
      ...(input.coilInsulated === false ? ['the coil leads to ground: it is to be replaced'] : []),
    ],
  })
}

/** By which house table a reading of today is judged: kept with it, so that its verdict stays when the table changes. */
async function houseTableOf({ tx, today }: Desk, ticket: Loaded): Promise<JudgedBy> {
  const { toleranceByHouseClass } = ticket.tables
  const houseClass = houseClassOf(ticket.rows, ticket.rows.ticket.work_class as WorkClassName | null, ticket.tables)
  const [row] = await tx.$queryRaw<{ from: string }[]>`
    select from_day::text as from from house_rule where key = 'toleranceByHouseClass' and from_day <= ${today}::date
    order by from_day desc, id desc limit 1`
  return { houseClass, fromDay: row?.from ?? null, limits: toleranceByHouseClass[houseClass] }
}

async function recorded(
  desk: Desk,
  ticket: Loaded,
  at: Date,
  tool: Tool,
  data: Record<string, unknown> & { family: 'mechanical' | 'quartz' },
): Promise<Created> {
  const judgedBy = await houseTableOf(desk, ticket)
  const [record] = await addRecords(desk, ticket.snapshot.ticket.id, [
    { kind: 'reading', at, tool: tool.id, data: { ...data, toolInDate: tool.inDate, judgedBy } },
  ])
  const after = await reopen(desk, ticket.snapshot.ticket.id)
  const { observation } = after.snapshot
  const verdicts = judgeReadings(observation.readings.kind, observation.readings.list, observation.tolerances)
  const gate = judgeGate('G12', after.snapshot)
  return {
    location: `/v1/tickets/${ticket.snapshot.ticket.id}/readings`,
    body: {
      id: record!.id,
      values: data.values,
      crown: data.crown ?? null,
      liftAngle: data.liftAngle ?? null,
      liftAngleAssumed: data.liftAngleAssumed === true,
      predictedMonths: data.predictedMonths ?? null,
      ratePerYear: data.ratePerYear ?? null,
      queries: data.queries,
      toolInDate: tool.inDate,
      tolerances: observation.tolerances.source,
      judgedBy: { houseClass: judgedBy.houseClass, fromDay: judgedBy.fromDay },
      verdicts: verdicts.map(({ what, value, within, words }) => ({ what, value, within, words })),
      gate: { state: gate.state, why: gate.why },
    },
  }
}

export type WaterInput = {
  test: WaterTest['kind']
  bar?: number | undefined
  /** the pressure as the tester shows it, in place of `bar` */
  pressure?: Pressure | undefined
  seconds?: number | undefined
  deformationMicrometres?: number | undefined
  leakMicrogramsPerMinute?: number | undefined
  settledMinutes?: number | undefined
  condensation?: { plateC: number; minutes: number; dropC: number; fogInside: boolean } | undefined
  /** a strap of leather lies in its bag */
  strapOff?: boolean | undefined
  seen: 'passed' | 'failed'
  tool?: string | undefined
  at?: string | undefined
}

const testerOf: Readonly<Record<WaterTest['kind'], readonly string[]>> = {
  'vacuum-dry': ['pressure-tester'],
  'overpressure-dry': ['pressure-tester'],
  'overpressure-wet': ['pressure-tester'],
  condensation: ['hot-plate-thermometer', 'pressure-tester'],
  immersion: [],
}

/** Leather goes into its numbered bag, never into the water. */
function refuseLeatherInWater(ticket: Loaded, { test, strapOff }: WaterInput): void {
  const strap = ticket.records.findLast((record) => record.kind === 'condition')?.data.strapKind
  if ((test === 'overpressure-wet' || test === 'immersion') && String(strap).endsWith('leather') && strapOff !== true)
    throw faulty(['/strapOff', 'is missing: it came on a strap of leather; take that off into its numbered bag first'])
}

/** A water test: taken only dry before wet and within the claim; judged; a failed one sends the watch back to the bench. */
export async function recordWaterTest(desk: Desk, ref: string, input: WaterInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  if (input.bar !== undefined && input.pressure !== undefined)
    throw faulty(['/pressure', 'is the same as bar: give one of them'])
  const test: WaterTest = {
    kind: input.test,
    bar: input.bar ?? (input.pressure ? inBar(input.pressure) : null),
    seconds: input.seconds ?? null,
    deformationMicrometres: input.deformationMicrometres ?? null,
    leakMicrogramsPerMinute: input.leakMicrogramsPerMinute ?? null,
    settledMinutes: input.settledMinutes ?? null,
    condensation: input.condensation ?? null,
    seen: input.seen,
  }
  const limits = limitsUnder(ticket.rules)
  const judged = judgeWaterTest(test, limits)
  const old = sealsToReplace(ticket.snapshot)
  const judgement =
    old.length === 0
      ? judged
      : {
          ...judged,
          counts: false,
          shortcomings: [...judged.shortcomings, `${sealsInWords(old)}: replace it, then test again`],
        }
  const { back } = takeWork(ticket, judgement.passed ? 'test' : 'failed-test', 'a water test')
  if (caseIsOpen(ticket.snapshot))
    throw new Refusal('record-not-taken', {
      step: ticket.snapshot.ticket.step,
      what: 'a water test of an open case',
      cure: 'Close the case first.',
    })
  const newest = newestTests(ticket.snapshot)
  const dry = [newest.get('vacuum-dry'), newest.get('overpressure-dry')].filter((one) => one !== undefined)
  // one that was not made as it has to be, or on a tool that is off, proves nothing that a watch may be wetted on
  const passedDry =
    dry.every((one) => one.passed) && dry.some((one) => one.counts && one.toolInDate && !one.toolDoubtful)
  const watch = testedWatch(ticket.rows)
  refuse(
    waterTestFaults(test, watch, passedDry, limits).map((fault) =>
      fault.key === 'kind'
        ? { ...fault, key: 'test' }
        : fault.key === 'bar' && input.pressure
          ? { ...fault, key: 'pressure/value' }
          : fault,
    ),
  )
  refuseLeatherInWater(ticket, input)
  const at = instantFrom(desk, ticket, input.at, { after: lastOfCase(ticket) })
  const kinds = testerOf[input.test]
  if (kinds.length > 0 && input.tool === undefined) throw faulty(['/tool', 'is missing: a result has its tool'])
  const tool =
    input.tool === undefined
      ? null
      : await toolOf(
          desk,
          input.tool,
          kinds.length > 0 ? kinds : [...kinds, 'pressure-tester', 'hot-plate-thermometer'],
          dayAt(at, desk.zone),
        )
  const valid = judgement.counts && (tool === null || tool.inDate)
  // a pass that opens no gate settles nothing; a failure counts however it was made
  const facts =
    !judgement.passed || valid
      ? await writeFacts(desk, ticket, at, [
          { event: 'water-test', passed: judgement.passed, bar: test.bar !== null && test.bar > 0 ? test.bar : null },
        ])
      : []
  const [record] = await addRecords(desk, ticket.snapshot.ticket.id, [
    {
      kind: 'water-test',
      at,
      tool: tool?.id ?? null,
      data: {
        ...test,
        ...(input.pressure && { pressure: input.pressure }),
        test: input.test,
        passed: judgement.passed,
        because: judgement.because,
        counts: judgement.counts,
        shortcomings: judgement.shortcomings,
        facts,
      },
    },
  ])
  if (!judgement.passed && back) await backToBench(desk, ticket, `water test failed: ${judgement.because.join(', ')}`)
  // moisture left inside rusts the movement within days
  if (judgement.openAtOnce)
    await desk.tx
      .$executeRaw`update ticket set next_by = ${desk.today}::date where id = ${ticket.snapshot.ticket.id}::uuid`
  const after = await reopen(desk, ticket.snapshot.ticket.id)
  const gate = judgeGate('G11', after.snapshot)
  return {
    location: `/v1/tickets/${ticket.snapshot.ticket.id}`,
    body: {
      id: record!.id,
      passed: judgement.passed,
      because: [...judgement.because],
      counts: judgement.counts,
      shortcomings: [...judgement.shortcomings],
      openAtOnce: judgement.openAtOnce,
      toolInDate: tool?.inDate ?? null,
      usualBar: usualTestPressure(watch, limits),
      step: after.snapshot.ticket.step,
      gate: { state: gate.state, why: gate.why, opens: [...gate.opens] },
    },
  }
}
