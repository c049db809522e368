import type { Sign } from '../../domain/reckoning/facts.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import { agreedLines } from '../../domain/tickets/gates-yes.ts'
import type { Created } from '../../http/creating.ts'
import { addRecords, backToBench, type Desk, instantFrom, openTicket, takeWork } from '../tickets/desk.ts'
import { strikeFacts, writeFacts } from '../tickets/facts.ts'
import { refuseUnentitled } from '../tickets/said.ts'
import type { Loaded } from '../tickets/snapshot.ts'
import { answered, refuseHazard } from './work.ts'

export type OperationInput = {
  line?: string | null | undefined
  state: 'done' | 'struck'
  what?: string | undefined
  reason?: string | undefined
  from?: string | undefined
  to?: string | undefined
  minutes?: number | undefined
  /** the bench it was done at, and the tools it was done with */
  bench?: string | undefined
  tools?: string[] | undefined
  finding?: string | undefined
  remarks?: string | undefined
  oils?: (string | { kind: string; lot?: string | undefined })[] | undefined
  magnetismBefore?: string | undefined
  magnetismAfter?: string | undefined
  /** signs that this work took away without a service; they stand as cured, not as signs */
  cures?: Sign[] | undefined
  /** what was taken out, bagged; it goes back to the owner, unless somebody entitled leaves it here */
  oldParts?: { bag: string; words: string; leftBy?: string | undefined }[] | undefined
}

function refuseOperation(ticket: Loaded, input: OperationInput): void {
  if ((input.magnetismBefore === undefined) !== (input.magnetismAfter === undefined)) {
    const missing = input.magnetismBefore === undefined ? 'magnetismBefore' : 'magnetismAfter'
    throw faulty([`/${missing}`, 'is missing: magnetism is measured before and after'])
  }
  const bags = [...(ticket.rows.loose ?? []).map((item) => item.bag), ...(input.oldParts ?? []).map((part) => part.bag)]
  for (const [i, part] of (input.oldParts ?? []).entries()) {
    if (bags.filter((bag) => bag === part.bag).length > 1)
      throw faulty([`/oldParts/${i}/bag`, 'is taken: give another'])
    if (part.leftBy !== undefined) refuseUnentitled(ticket, part.leftBy, 'approve', `/oldParts/${i}/leftBy`)
  }
}

/** Signs that stand on the watch and were cured without a service: they stay on file and no longer count. */
async function cure(desk: Desk, ticket: Loaded, cures: readonly Sign[], what: string): Promise<void> {
  if (cures.length === 0) return
  const rows = await desk.tx.$queryRaw<{ id: string }[]>`
    select e.id from watch_event e where e.watch_id = ${String(ticket.rows.watch.id)}::uuid and e.event = 'sign' and e.sign = any(${[...cures]}::text[])
      and not exists (select from strike s where s.fact_id = e.id)`
  const ids = rows.map((row) => row.id)
  await strikeFacts(desk, ticket, ids, `cured: ${what}`)
}

/** Old parts go back by default: each bag is one more loose item that the hand-over asks for. */
async function bagOldParts({ tx, now, who }: Desk, ticketId: string, input: OperationInput): Promise<void> {
  const bags = (input.oldParts ?? []).filter((part) => part.leftBy === undefined)
  if (bags.length === 0) return
  await tx.$executeRaw`
    insert into loose_item (ticket_id, bag, words, recorded_at, by_key, recorded_by)
    select ${ticketId}::uuid, b.bag, b.words, ${now}, ${who.keyId}::uuid, ${who.name}
    from jsonb_to_recordset(${JSON.stringify(bags)}::jsonb) as b (bag text, words text)
    on conflict (ticket_id, bag) do nothing`
}

/** The names of bench and tools as they are on file. */
async function benchAndTools({ tx }: Desk, { bench, tools = [] }: OperationInput) {
  const onFile = await tx.tool.findMany({
    where: { id: { in: tools } },
    select: { id: true, name: true, serial: true },
  })
  const named = tools.map((id, i) => {
    const tool = onFile.find((one) => one.id === id)
    if (!tool)
      throw new Refusal('not-found', { what: 'tool', id }, [{ pointer: `/tools/${i}`, detail: 'is not on file' }])
    return `${tool.name} ${tool.serial}`
  })
  if (bench === undefined) return { toolsNamed: named }
  const at = await tx.bench.findUnique({ where: { id: bench }, select: { name: true } })
  if (!at)
    throw new Refusal('not-found', { what: 'bench', id: bench }, [{ pointer: '/bench', detail: 'is not on file' }])
  return { toolsNamed: named, benchName: at.name }
}

/** An operation done, or an agreed line struck out with a reason. Only agreed lines are worked on. */
export async function recordOperation(desk: Desk, ref: string, input: OperationInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { back } = takeWork(ticket, 'operation', 'an operation')
  if (input.state === 'done') refuseHazard(ticket)
  refuseOperation(ticket, input)
  const line = input.line ?? null
  if (line === null && input.what === undefined)
    throw faulty(['/what', 'is missing: say what was done, or name the line'])
  if (line === null && input.state === 'struck') throw faulty(['/line', 'is missing: only a line is struck out'])
  if (input.state === 'struck' && input.reason === undefined)
    throw faulty(['/reason', 'is missing: a line is struck out with a reason'])
  const row = line === null ? undefined : ticket.rows.estimates?.at(-1)?.lines?.find((one) => one.id === line)
  if (line !== null && !row) throw faulty(['/line', 'is no line of the newest version'])
  if (line !== null && !agreedLines(ticket.snapshot).includes(line)) {
    throw new Refusal('above-agreed', { agreed: `${row!.what} has no yes` }, [
      { pointer: '/line', detail: 'was not agreed' },
    ])
  }
  const to = instantFrom(desk, ticket, input.to, { pointer: '/to' })
  const from = input.from === undefined ? null : instantFrom(desk, ticket, input.from, { pointer: '/from' })
  if (from !== null && from > to) throw faulty(['/to', 'lies before the start'])
  const facts =
    input.state === 'done' && row?.complete_service === true
      ? await writeFacts(desk, ticket, to, [{ event: 'complete-service' }])
      : []
  const [record] = await addRecords(desk, ticket.snapshot.ticket.id, [
    {
      kind: 'operation',
      line,
      at: to,
      data: {
        ...input,
        what: input.what ?? row?.what,
        code: row?.code ?? null,
        from: from?.toISOString() ?? null,
        ...(await benchAndTools(desk, input)),
        facts,
      },
    },
  ])
  if (input.state === 'done') {
    await cure(desk, ticket, input.cures ?? [], String(input.what ?? row?.what))
    await bagOldParts(desk, ticket.snapshot.ticket.id, input)
  }
  if (back) await backToBench(desk, ticket, `work recorded: ${input.what ?? row?.what}`)
  return answered(desk, ticket, record!.id)
}
