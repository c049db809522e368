import { type Db, dateOf, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { type LimitName, limitPairs } from '../../domain/readings/limits.ts'
import {
  type Certificate,
  doubtfulSpans,
  type FailedCheck,
  isInDate,
  reminderOn,
  type ToolKind,
  validUntil,
} from '../../domain/readings/tools.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { readTicketRules } from '../../domain/tickets/rules.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { storedOn, tableOn } from '../house-rules/house-rules.ts'
import { addTaskOnce } from '../tasks/tasks.ts'

export type NewTool = { kind: ToolKind; serial: string; name: string; months?: number | undefined }

export async function addTool({ tx, who, today }: Act, input: NewTool): Promise<Created> {
  const months = input.months ?? (await tableOn(tx, 'toolMonths', today))[input.kind]
  const row = await tx.tool.create({ data: { ...input, months, createdBy: who.name } })
  return { location: `/v1/tools/${row.id}`, body: await getTool(tx, row.id, today) }
}

export async function getTool(db: Db, id: string, today: Day) {
  const tool = (await listTools(db, today, id))[0]
  if (!tool) throw new Refusal('not-found', { what: 'tool', id })
  return tool
}

export async function listTools(db: Db, today: Day, id?: string) {
  const tools = await db.tool.findMany({ where: id === undefined ? {} : { id }, orderBy: { id: 'asc' } })
  const certificates = await db.toolCertificate.findMany({
    where: { toolId: { in: tools.map((tool) => tool.id) } },
    orderBy: [{ onDay: 'asc' }, { id: 'asc' }],
  })
  const failed = await db.$queryRaw<(FailedCheck & { toolId: string })[]>`
    select f.tool_id as "toolId", f.on_day::text as from, (select p.on_day::text from tool_check p where p.tool_id = f.tool_id and p.passed and p.id > f.id
      order by p.id limit 1) as to from tool_check f where not f.passed and f.tool_id = any(${tools.map((tool) => tool.id)}::uuid[])`
  const checks = await db.$queryRaw<{ toolId: string; on: Day; value: string; passed: boolean; by: string }[]>`
    select t.id as "toolId", c.on_day::text as on, c.value, c.passed, c.recorded_by as by from unnest(${tools.map((tool) => tool.id)}::uuid[]) t (id)
    cross join lateral (select * from tool_check c where c.tool_id = t.id and c.on_day <= ${today}::date order by c.id desc limit 1) c`
  return tools.map((tool) => {
    const check = checks.find((one) => one.toolId === tool.id)
    const own = certificates.filter((certificate) => certificate.toolId === tool.id)
    const dated: Certificate[] = own.map((c) => ({
      id: c.id,
      on: dayFrom(c.onDay),
      asFound: c.asFound as 'not-stated',
      asLeft: c.asLeft as 'in-tolerance',
      months: c.months,
    }))
    return {
      id: tool.id,
      kind: tool.kind,
      serial: tool.serial,
      name: tool.name,
      months: tool.months,
      blockedWhy: tool.blockedWhy,
      validUntil: validUntil(dated, today),
      inDate: isInDate(
        dated,
        failed.filter((one) => one.toolId === tool.id),
        today,
        tool.blockedWhy !== null,
      ),
      lastCheck: check ? { on: check.on, value: check.value, passed: check.passed, by: check.by } : null,
      certificates: own.map((c) => ({
        id: c.id,
        on: dayFrom(c.onDay),
        asFound: c.asFound,
        asLeft: c.asLeft,
        months: c.months,
        byWhom: c.byWhom,
      })),
      doubtful: doubtfulSpans(dated).map(({ from, to }) => ({ from, to })),
    }
  })
}

export type NewCertificate = { on: Day; asFound: string; asLeft: string; months?: number | undefined; byWhom: string }

/** A certificate. Found out of tolerance, it answers with every doubtful result since the last good one. */
export async function addCertificate(act: Act, toolId: string, input: NewCertificate): Promise<Created> {
  const { tx, who, today, now } = act
  if (input.on > today)
    throw new Refusal('fact-in-future', { what: 'A certificate', today }, [
      { pointer: '/on', detail: `lies after today, ${today}` },
    ])
  const tool = await tx.tool.findUnique({ where: { id: toolId } })
  if (!tool) throw new Refusal('not-found', { what: 'tool', id: toolId })
  const row = await tx.toolCertificate.create({
    data: {
      toolId,
      onDay: dateOf(input.on),
      asFound: input.asFound,
      asLeft: input.asLeft,
      months: input.months ?? tool.months,
      byWhom: input.byWhom,
      recordedBy: who.name,
    },
  })
  await tx.$executeRaw`
    update task set done_at = ${now}, done_by = ${who.name}, done_how = 'a new certificate was entered'
    where done_at is null and dedupe like ${`tool-due/${toolId}/%`}`
  const doubtful = input.asFound === 'out-of-tolerance' ? await doubtfulResults(tx, toolId, today) : []
  return {
    location: `/v1/tools/${toolId}`,
    body: { id: row.id, tool: await getTool(tx, toolId, today), doubtfulResults: doubtful },
  }
}

/** The daily check: what the tool showed, and whether it passed. A failed one shuts its results out until one passes. */
export async function addCheck(
  { tx, who, today }: Act,
  toolId: string,
  input: { value: string; passed: boolean },
): Promise<Created> {
  if (!(await tx.tool.findUnique({ where: { id: toolId } })))
    throw new Refusal('not-found', { what: 'tool', id: toolId })
  const row = await tx.toolCheck.create({ data: { toolId, onDay: dateOf(today), ...input, recordedBy: who.name } })
  return { location: `/v1/tools/${toolId}`, body: { id: row.id, tool: await getTool(tx, toolId, today) } }
}

/** Each certificate that ends within the lead is a task of the manager, once; a new certificate closes it. */
export async function remindOfTools(tx: Db, today: Day): Promise<void> {
  const { toolLeadDays } = readTicketRules(await storedOn(tx, today))
  for (const { id, kind, name, serial, validUntil: until, blockedWhy } of await listTools(tx, today)) {
    if (until === null || blockedWhy !== null || today < reminderOn(until, toolLeadDays)) continue
    await addTaskOnce(tx, {
      kind: 'tool-due',
      role: 'manager',
      dedupe: `tool-due/${id}/${until}`,
      words: `The certificate of ${name} (${kind}, ${serial}) holds through ${until}: from the day after, its results open no gate. Have it calibrated.`,
      dueOn: until,
    })
  }
}

/**
 * The look-back: every result of a tool in a span in doubt, watches still in the house first, then by how deep they are used.
 */
export async function doubtfulResults(db: Db, toolId: string, today: Day) {
  const tool = await getTool(db, toolId, today)
  const found = []
  for (const span of tool.doubtful) {
    found.push(
      ...(await db.$queryRaw<
        {
          recordId: string
          ticketId: string
          number: string
          watchId: string
          on: string
          kind: string
          inHouse: boolean
          ratedBar: number | null
          ownerId: string
        }[]
      >`
      select r.id as "recordId", t.id as "ticketId", t.number, t.watch_id as "watchId", r.on_day::text as on, r.kind, t.ended is null as "inHouse",
        w.claim_bar::float8 as "ratedBar", t.owner_id as "ownerId"
      from ticket_record r join ticket t on t.id = r.ticket_id join watch w on w.id = t.watch_id
      where r.tool_id = ${toolId}::uuid and r.on_day <= ${span.to}::date and r.on_day >= coalesce(${span.from}::date, r.on_day)
        and not exists (select from ticket_record s where s.strikes = r.id)
      order by t.ended is not null, w.claim_bar desc nulls last, r.on_day, r.id`),
    )
  }
  return [...new Map(found.map((row) => [row.recordId, row])).values()]
}

export async function blockTool({ tx, today }: Act, id: string, why: string | null) {
  const { count } = await tx.tool.updateMany({ where: { id }, data: { blockedWhy: why } })
  if (count === 0) throw new Refusal('not-found', { what: 'tool', id })
  return getTool(tx, id, today)
}

export async function addBench({ tx, who }: Act, input: { name: string; skills: string[] }): Promise<Created> {
  const row = await tx.bench.create({ data: { ...input, createdBy: who.name } })
  return { location: '/v1/benches', body: { id: row.id, name: row.name, skills: row.skills } }
}

export const listBenches = async (db: Db) =>
  (await db.bench.findMany({ orderBy: { name: 'asc' } })).map(({ id, name, skills }) => ({ id, name, skills }))

export type NewSkill = { staffKeyId: string; skill: string; level: string; fromDay?: Day | undefined }

export async function addSkill({ tx, who, today }: Act, input: NewSkill): Promise<Created> {
  const row = await tx.staffSkill.create({
    data: {
      staffKeyId: input.staffKeyId,
      skill: input.skill,
      level: input.level,
      fromDay: dateOf(input.fromDay ?? today),
      recordedBy: who.name,
    },
  })
  return { location: '/v1/staff-skills', body: { id: row.id, ...input, fromDay: input.fromDay ?? today } }
}

export async function addTolerance(
  { tx, who }: Act,
  calibreId: string,
  input: { limits: Readonly<Partial<Record<LimitName, number | null>>>; sourcePaper: string },
): Promise<Created> {
  for (const [low, high] of limitPairs) {
    const [least, most] = [input.limits[low] ?? null, input.limits[high] ?? null]
    if (least !== null && most !== null && least > most) throw faulty([`/limits/${high}`, `must not lie below ${low}`])
  }
  const row = await tx.calibreTolerance.create({
    data: { calibreId, limits: input.limits, sourcePaper: input.sourcePaper, recordedBy: who.name },
  })
  return { location: `/v1/calibres/${calibreId}`, body: { id: row.id, calibreId, ...input } }
}
