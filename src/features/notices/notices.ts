import { type Db, dayFrom } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Act } from '../../http/service.ts'

export const noticeStates = [
  'queued',
  'held',
  'claimed',
  'handing-over',
  'sent',
  'failed',
  'in-doubt',
  'withdrawn',
] as const
export type NoticeState = (typeof noticeStates)[number]

export type NoticeFilter = {
  state?: NoticeState | undefined
  from?: Day | undefined
  to?: Day | undefined
  ownerId?: string | undefined
  watchId?: string | undefined
}

type Row = Awaited<ReturnType<Db['notice']['findUniqueOrThrow']>>

const shown = (row: Row) => ({
  id: row.id,
  ownerId: row.ownerId,
  runOn: dayFrom(row.runOn),
  state: row.state as NoticeState,
  means: row.means,
  language: row.language,
  textVersion: row.textVersion,
  comeBy: dayFrom(row.comeBy),
  heldBy: row.heldBy,
  heldWhy: row.heldWhy,
  withdrawnBy: row.withdrawnBy,
  withdrawnWhy: row.withdrawnWhy,
  attempt: row.attempt,
  nextAt: row.nextAt.toISOString(),
  messageId: row.messageId,
  response: row.response,
  lastError: row.lastError,
  madeAt: row.madeAt.toISOString(),
  handedAt: row.handedAt?.toISOString() ?? null,
  sentAt: row.sentAt?.toISOString() ?? null,
  deliveredAt: row.deliveredAt?.toISOString() ?? null,
  returnedAt: row.returnedAt?.toISOString() ?? null,
})

type Item = {
  notice_id: string
  watch_id: string
  kind: string
  stage: string
  booked: string
  standing: string
  due_on: string
  cycle: string
  round: string
}

async function itemsOf(db: Db, noticeIds: string[]) {
  const rows = await db.$queryRaw<Item[]>`
    select notice_id, watch_id, kind, stage, booked, standing, due_on::text, cycle, round::text
    from notice_item where notice_id = any(${noticeIds}::uuid[]) order by id`
  const items = new Map<string, ReturnType<typeof shownItem>[]>()
  for (const row of rows) items.set(row.notice_id, [...(items.get(row.notice_id) ?? []), shownItem(row)])
  return (id: string) => items.get(id) ?? []
}

const shownItem = (row: Item) => ({
  watchId: row.watch_id,
  kind: row.kind,
  stage: row.stage,
  booked: row.booked,
  standing: row.standing,
  dueOn: row.due_on,
  cycle: row.cycle,
  round: row.round,
})

/** Letters, the newest run first. */
export async function listNotices(db: Db, filter: NoticeFilter, after: readonly string[] | null, limit: number) {
  const [afterDay, afterId] = after ?? []
  const ids = await db.$queryRaw<{ id: string }[]>`
    select n.id from notice n
    where (${filter.state ?? null}::text is null or n.state = ${filter.state ?? null})
      and (${filter.from ?? null}::date is null or n.run_on >= ${filter.from ?? null}::date)
      and (${filter.to ?? null}::date is null or n.run_on <= ${filter.to ?? null}::date)
      and (${filter.ownerId ?? null}::uuid is null or n.owner_id = ${filter.ownerId ?? null}::uuid)
      and (${filter.watchId ?? null}::uuid is null
        or exists (select from notice_item i where i.notice_id = n.id and i.watch_id = ${filter.watchId ?? null}::uuid))
      and (${afterDay === undefined ? null : String(afterDay)}::date is null
        or (n.run_on, n.id) < (${afterDay === undefined ? null : String(afterDay)}::date, ${afterId === undefined ? null : String(afterId)}::uuid))
    order by n.run_on desc, n.id desc limit ${limit + 1}`
  const rows = await db.notice.findMany({ where: { id: { in: ids.map((row) => row.id) } } })
  const items = await itemsOf(
    db,
    ids.map((row) => row.id),
  )
  const byId = new Map(rows.map((row) => [row.id, row]))
  return ids.flatMap(({ id }) => {
    const row = byId.get(id)
    return row ? [{ ...shown(row), items: items(id) }] : []
  })
}

/** One letter with its plan, its trace and everything that happened to it. */
export async function getNotice(db: Db, id: string) {
  const row = await db.notice.findUnique({ where: { id } })
  if (!row) throw new Refusal('not-found', { what: 'notice', id })
  const items = await itemsOf(db, [id])
  const attempts = await db.deliveryAttempt.findMany({
    where: { noticeId: id },
    orderBy: [{ at: 'asc' }, { id: 'asc' }],
  })
  const reports = await db.deliveryReport.findMany({ where: { noticeId: id }, orderBy: { id: 'asc' } })
  const answers = await db.ownerAnswer.findMany({ where: { noticeId: id }, orderBy: { id: 'asc' } })
  return {
    ...shown(row),
    items: items(id),
    plan: row.plan,
    trace: row.trace,
    attempts: attempts.map((one) => ({
      attempt: one.attempt,
      outcome: one.outcome,
      detail: one.detail,
      at: one.at.toISOString(),
    })),
    reports: reports.map((one) => ({
      action: one.action,
      status: one.status,
      diagnostic: one.diagnostic,
      on: dayFrom(one.reportedOn),
    })),
    answers: answers.map((one) => ({
      answer: one.answer,
      watchId: one.watchId,
      details: one.details,
      on: dayFrom(one.answeredOn),
    })),
  }
}

async function changed(act: Act, id: string, allowed: readonly NoticeState[], made: number) {
  if (made === 0) {
    const row = await act.tx.notice.findUnique({ where: { id } })
    if (!row) throw new Refusal('not-found', { what: 'notice', id })
    throw new Refusal('notice-moved-on', { state: row.state, allowed: allowed.join(' or ') })
  }
  return getNotice(act.tx, id)
}

/** Held: it waits until it is released or withdrawn. One statement, so that a hand-over that began first wins. */
export async function holdNotice(act: Act, id: string, why: string) {
  const made = await act.tx.$executeRaw`
    update notice set state = 'held', held_by = ${act.who.name}, held_why = ${why} where id = ${id}::uuid and state = 'queued'`
  return changed(act, id, ['queued'], made)
}

/** Released: it goes with the next round, after what withholds letters was looked at again; the thirty days count from today. */
export async function releaseNotice(act: Act, id: string) {
  const made = await act.tx.$executeRaw`
    update notice set state = 'queued', next_at = now(), released_on = ${act.today}::date where id = ${id}::uuid and state = 'held'`
  return changed(act, id, ['held'], made)
}

/** Withdrawn by the manager: it does not go, and its stages count as written. */
export async function withdrawNotice(act: Act, id: string, why: string) {
  const made = await act.tx.$executeRaw`
    update notice set state = 'withdrawn', withdrawn_by = ${act.who.name}, withdrawn_why = ${why}
    where id = ${id}::uuid and state in ('queued', 'held')`
  return changed(act, id, ['queued', 'held'], made)
}

/** Somebody has looked in the relay's log: a letter in doubt arrived, or it did not and goes again. */
export async function settleDoubt(act: Act, id: string, arrived: boolean) {
  const { tx, who } = act
  const outcome = arrived ? 'resolved-sent' : 'resolved-not-sent'
  const made = await tx.$executeRaw`
    with settled as (
      update notice set state = ${arrived ? 'sent' : 'queued'}, next_at = now(), lease_owner = null, lease_until = null,
        sent_at = case when ${arrived} then coalesce(sent_at, handed_at) end, response = case when ${arrived} then ${`said by ${who.name}`} end,
        -- what did not arrive may be written anew: nothing binds it to the bytes of before
        handed_at = case when ${arrived} then handed_at end
      where id = ${id}::uuid and state = 'in-doubt' returning id, attempt)
    insert into delivery_attempt (notice_id, attempt, outcome, detail) select id, attempt, ${outcome}, ${`said by ${who.name}`} from settled`
  if (made > 0)
    await tx.$executeRaw`
      update task set done_at = ${act.now}, done_by = ${who.name}, done_how = ${arrived ? 'it had arrived' : 'it had not arrived; it goes again'}
      where dedupe = ${`letter-in-doubt/${id}`} and done_at is null`
  return changed(act, id, ['in-doubt'], made)
}
