import type pg from 'pg'

/**
 * Every statement of the hand-over, and nothing else. Each one is fenced: it touches a row only while this owner of the
 * lease and this attempt hold it. All comparing of instants is on the database's clock.
 *
 *   queued → claimed → handing-over → sent | failed | in-doubt          (and back to queued where that is certain to be safe)
 */

export type Claim = {
  id: string
  attempt: number
  ownerId: string
  language: string
  refusals: number
  digest: Buffer | null
}

export type Leases = {
  /** seconds from claim to hand-over */
  claim: number
  /** seconds from the first byte; more than the wait for the reply to the final dot (ten minutes, RFC 5321 4.5.3.2.6) */
  handOver: number
}
export const LEASES: Leases = { claim: 120, handOver: 720 }

export async function claimDue(pool: pg.Pool, leaseOwner: string, limit: number, lease: Leases): Promise<Claim[]> {
  const { rows } = await pool.query<Claim>({
    name: 'letters-claim',
    text: `with due as (
        select id from notice where state = 'queued' and next_at <= now() order by next_at, id limit $2 for update skip locked)
      update notice n set state = 'claimed', attempt = n.attempt + 1, lease_owner = $1, lease_until = now() + make_interval(secs => $3)
      from due left join letter l on l.notice_id = due.id
      where n.id = due.id
      returning n.id, n.attempt, n.owner_id as "ownerId", n.language, coalesce(l.refusals, 0) as refusals, l.digest`,
    values: [leaseOwner, limit, lease.claim],
  })
  return rows
}

/** The digest is null where the one on file is that of this letter already. */
export type Mark = { id: string; attempt: number; messageId: string; digest: Buffer | null }
export type Sent = { id: string; attempt: number; response: string }
export type Step = { mark: Mark } | { sent: Sent }

/**
 * The two steps every letter takes, for all that are at one of them now, in one commit: the mark, which is the last thing
 * before the first byte, and the accepting reply. Answers, for each, whether the row was still ours. A reply that comes
 * after the lease ran out still settles its own attempt, unless another attempt has begun; so no row is in both lists.
 */
export async function takeSteps(pool: pg.Pool, leaseOwner: string, steps: Step[], lease: Leases): Promise<boolean[]> {
  const marks = steps.flatMap((step) => ('mark' in step ? [step.mark] : []))
  const sent = steps.flatMap((step) => ('sent' in step ? [step.sent] : []))
  const { rows } = await pool.query<{ mark: boolean; id: string }>({
    name: 'letters-steps',
    text: `with m as (select * from unnest($2::uuid[], $3::int[], $4::text[], $5::bytea[]) as m(id, attempt, message_id, digest)),
      marked as (
        update notice n set state = 'handing-over', message_id = m.message_id, handed_at = coalesce(n.handed_at, now()),
          lease_until = now() + make_interval(secs => $6)
        from m where n.id = m.id and n.attempt = m.attempt and n.lease_owner = $1
          -- a condition the index of leases cannot serve: it would be read whole, with all that has left it, for each mark
          and case when n.state = 'claimed' then n.lease_until > now() else false end
        returning n.id),
      kept as (
        update letter l set digest = m.digest
        from m join marked on marked.id = m.id where l.notice_id = m.id and m.digest is not null),
      accepted as (
        update notice n set state = 'sent', response = s.response, sent_at = now(), last_error = null, lease_owner = null, lease_until = null
        from unnest($7::uuid[], $8::int[], $9::text[]) as s(id, attempt, response)
        where n.id = s.id and n.attempt = s.attempt and n.lease_owner = $1 and n.state in ('handing-over', 'in-doubt')
        returning n.id)
      select true as mark, id from marked union all select false, id from accepted`,
    values: [
      leaseOwner,
      marks.map((mark) => mark.id),
      marks.map((mark) => mark.attempt),
      marks.map((mark) => mark.messageId),
      marks.map((mark) => mark.digest),
      lease.handOver,
      sent.map((one) => one.id),
      sent.map((one) => one.attempt),
      sent.map((one) => one.response),
    ],
  })
  const ours = new Set(rows.map((row) => `${row.mark} ${row.id}`))
  return steps.map((step) => ours.has('mark' in step ? `true ${step.mark.id}` : `false ${step.sent.id}`))
}

export type Waits = {
  /** seconds before the next try, growing; the last one repeats */
  refused: number[]
  unreachable: number[]
  /** seconds from the first try after which a letter is given up; 4 to 5 days by RFC 5321 4.5.4.1 */
  giveUp: number
}
export const WAITS: Waits = {
  refused: [1800, 3600, 7200, 14_400, 28_800],
  unreachable: [60, 120, 300, 900, 1800],
  giveUp: 5 * 86_400,
}

/**
 * Not accepted for now (4yz), or certainly not transmitted: back to the queue after a growing wait, or failed when five
 * days have passed since the first try. Answers the new state, or null when the row was no longer ours.
 */
export async function putBack(
  pool: pg.Pool,
  leaseOwner: string,
  claim: Pick<Claim, 'id' | 'attempt'>,
  why: { outcome: 'refused-for-now' | 'not-handed-over'; detail: string },
  waits: Waits,
): Promise<'queued' | 'failed' | null> {
  const steps = why.outcome === 'refused-for-now' ? waits.refused : waits.unreachable
  const { rows } = await pool.query<{ state: 'queued' | 'failed' }>({
    name: 'letters-put-back',
    text: `with mine as (
        select id, coalesce(handed_at, now()) as tried_at from notice
        where id = $2 and attempt = $3 and lease_owner = $1 and state in ('claimed', 'handing-over') for update),
      l as (
        insert into letter as l (notice_id, text_version, first_tried_at, refusals) select id, '', tried_at, 1 from mine
        on conflict (notice_id) do update set refusals = l.refusals + 1, first_tried_at = coalesce(l.first_tried_at, excluded.first_tried_at)
        returning refusals, first_tried_at),
      back as (
        update notice n set
          state = case when l.first_tried_at + make_interval(secs => $6) <= now() then 'failed' else 'queued' end,
          next_at = now() + make_interval(secs => ($5::float8[])[least(l.refusals, cardinality($5::float8[]))]),
          last_error = $7, lease_owner = null, lease_until = null
        from l, mine where n.id = mine.id
        returning n.id, n.state),
      freed as (
        update notice_item i set key_taken = false from back where back.state = 'failed' and i.notice_id = back.id),
      noted as (
        insert into delivery_attempt (notice_id, attempt, outcome, detail) select id, $3, $4, $7 from back)
      select state from back`,
    values: [leaseOwner, claim.id, claim.attempt, why.outcome, steps, waits.giveUp, why.detail],
  })
  return rows[0]?.state ?? null
}

/** A refusal for good (5yz): before acceptance, so the key of its items is free again. */
export async function recordRefused(
  pool: pg.Pool,
  leaseOwner: string,
  claim: Pick<Claim, 'id' | 'attempt'>,
  detail: string,
): Promise<boolean> {
  const { rowCount } = await pool.query({
    name: 'letters-refused',
    text: `with gone as (
        update notice set state = 'failed', last_error = $4, lease_owner = null, lease_until = null
        where id = $2 and attempt = $3 and lease_owner = $1 and state in ('claimed', 'handing-over') returning id),
      freed as (update notice_item i set key_taken = false from gone where i.notice_id = gone.id)
      insert into delivery_attempt (notice_id, attempt, outcome, detail) select id, $3, 'refused', $4 from gone`,
    values: [leaseOwner, claim.id, claim.attempt, detail],
  })
  return rowCount === 1
}

/** The connection broke after the first byte and before the reply: nobody here can know. Held, or queued again, by policy. */
export async function recordUnknown(
  pool: pg.Pool,
  leaseOwner: string,
  claim: Pick<Claim, 'id' | 'attempt'>,
  detail: string,
  resendSeconds: number,
  waits: Waits,
): Promise<'queued' | 'in-doubt' | null> {
  const { rows } = await pool.query<{ state: 'queued' | 'in-doubt' }>({
    name: 'letters-unknown',
    text: `with doubt as (
        update notice set
          state = case when handed_at + make_interval(secs => $5) > now() then 'queued' else 'in-doubt' end,
          next_at = now() + make_interval(secs => $6), last_error = $4,
          lease_until = null,
          lease_owner = case when handed_at + make_interval(secs => $5) > now() then null else lease_owner end
        where id = $2 and attempt = $3 and lease_owner = $1 and state = 'handing-over' returning id, state),
      noted as (insert into delivery_attempt (notice_id, attempt, outcome, detail) select id, $3, 'in-doubt', $4 from doubt)
      select state from doubt`,
    values: [leaseOwner, claim.id, claim.attempt, detail, resendSeconds, waits.unreachable[0]],
  })
  return rows[0]?.state ?? null
}

/** True when an earlier attempt may have been accepted: then only the very same bytes may go again. */
export async function mayHaveArrived(pool: pg.Pool, noticeId: string): Promise<boolean> {
  const { rows } = await pool.query<{ found: boolean }>(
    `select exists (select from delivery_attempt a where notice_id = $1
      and (outcome = 'in-doubt' or (outcome = 'lease-over' and detail = 'after the first byte'))
      and not exists (select from delivery_attempt later where later.notice_id = a.notice_id and later.outcome = 'resolved-not-sent' and later.at >= a.at)) as found`,
    [noticeId],
  )
  return rows[0]?.found ?? false
}

/** A letter that may have arrived and would read differently now waits for a person. */
export async function holdInDoubt(
  pool: pg.Pool,
  leaseOwner: string,
  claim: Pick<Claim, 'id' | 'attempt'>,
  detail: string,
): Promise<void> {
  await pool.query(
    `with doubt as (
        update notice set state = 'in-doubt', last_error = $4, lease_until = null
        where id = $2 and attempt = $3 and lease_owner = $1 and state = 'claimed' returning id)
      insert into delivery_attempt (notice_id, attempt, outcome, detail) select id, $3, 'in-doubt', $4 from doubt`,
    [leaseOwner, claim.id, claim.attempt, detail],
  )
}

/** Something withholds an item after all: the letter is withdrawn whole, its keys are free, the next nightly run decides anew. */
export async function withdrawClaimed(
  pool: pg.Pool,
  leaseOwner: string,
  withdrawals: { id: string; attempt: number; why: string }[],
): Promise<void> {
  await pool.query(
    `with w as (
        update notice n set state = 'withdrawn', withdrawn_by = 'check before hand-over', withdrawn_why = c.why, lease_owner = null, lease_until = null
        from unnest($2::uuid[], $3::int[], $4::text[]) as c(id, attempt, why)
        where n.id = c.id and n.attempt = c.attempt and n.lease_owner = $1 and n.state = 'claimed' returning n.id, n.attempt, c.why),
      freed as (update notice_item i set key_taken = false from w where i.notice_id = w.id)
      insert into delivery_attempt (notice_id, attempt, outcome, detail) select id, attempt, 'withdrawn', why from w`,
    [leaseOwner, withdrawals.map((w) => w.id), withdrawals.map((w) => w.attempt), withdrawals.map((w) => w.why)],
  )
}

/** Gives claims back unused, when the service stops or the relay cannot be reached. */
export async function releaseClaims(
  pool: pg.Pool,
  leaseOwner: string,
  claims: Pick<Claim, 'id' | 'attempt'>[],
  waitSeconds: number,
): Promise<void> {
  await pool.query(
    `update notice n set state = 'queued', lease_owner = null, lease_until = null, next_at = greatest(n.next_at, now() + make_interval(secs => $4))
      from unnest($2::uuid[], $3::int[]) as c(id, attempt)
      where n.id = c.id and n.attempt = c.attempt and n.lease_owner = $1 and n.state = 'claimed'`,
    [leaseOwner, claims.map((c) => c.id), claims.map((c) => c.attempt), waitSeconds],
  )
}

/**
 * After a process died: a claim whose lease is over was certainly not transmitted and is queued again; a hand-over whose
 * lease is over may have been. `resendSeconds` 0 holds it in doubt; else it is queued again, within that time of its
 * first hand-over.
 */
export async function sweep(pool: pg.Pool, resendSeconds: number): Promise<{ queued: number; doubtful: string[] }> {
  const { rows } = await pool.query<{ id: string; was: string; state: string }>(
    `with over as (
        select id, state as was from notice where state in ('claimed', 'handing-over') and lease_until < now() for update skip locked),
      swept as (
        update notice n set
          state = case when over.was = 'claimed' or n.handed_at + make_interval(secs => $1) > now() then 'queued' else 'in-doubt' end,
          next_at = now(), lease_until = null,
          lease_owner = case when over.was = 'claimed' or n.handed_at + make_interval(secs => $1) > now() then null else n.lease_owner end,
          last_error = case when over.was = 'claimed' then n.last_error else 'the process ended between the first byte and the reply' end
        from over where n.id = over.id returning n.id, n.attempt, over.was, n.state),
      noted as (
        insert into delivery_attempt (notice_id, attempt, outcome, detail)
        select id, attempt, 'lease-over', case when was = 'claimed' then 'before the first byte' else 'after the first byte' end from swept)
      select id, was, state from swept`,
    [resendSeconds],
  )
  return {
    queued: rows.filter((row) => row.state === 'queued').length,
    doubtful: rows.filter((row) => row.state === 'in-doubt').map((row) => row.id),
  }
}
