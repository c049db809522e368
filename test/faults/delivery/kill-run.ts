import type { ChildProcess } from 'node:child_process'
import pg from 'pg'
import { emptyQueue, KEY_HEADER, queueNotices, states } from './queue.ts'
import { startRelay } from './relay.ts'
import { ended, startReplica } from './replicas.ts'

export type KillRun = {
  databaseUrl: string
  seed: number
  policy: 'hold' | 'resend'
  notices: number
  kills: number
  replicas: number
  replyMs: number
}
export type KillResult = {
  kills: number
  seconds: number
  states: Record<string, number>
  /** letters with no accepted copy that are not accounted for as in doubt */
  lost: number
  /** copies beyond the first */
  twice: number
  /** copies beyond the first that differ from it in their bytes or in the key header */
  twiceOtherwise: number
  /** letters in doubt, and those of them that the relay has */
  inDoubt: number
  inDoubtAccepted: number
  /** what a relay that honours the key header would have kept */
  distinctKeys: number
}

/** mulberry32: small, and the same everywhere for one seed */
export function randomFrom(seed: number): () => number {
  let state = seed >>> 0
  return () => {
    state = (state + 0x6d2b79f5) >>> 0
    let t = Math.imul(state ^ (state >>> 15), 1 | state)
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296
  }
}

/**
 * Hands letters over with several replicas while they are killed at random, evenly over the letters; the relay drops 1 %
 * of the conversations before the reply to MAIL, 1 % after the dot (keeping the letter), and answers 451 to 2 %.
 */
export async function killRun(run: KillRun): Promise<KillResult> {
  const random = randomFrom(run.seed)
  const pool = new pg.Pool({ connectionString: run.databaseUrl, max: 3 })
  pool.on('error', () => {})
  await emptyQueue(pool)
  await queueNotices(pool, run.notices)
  const relay = await startRelay({ keyHeader: KEY_HEADER })
  relay.replyAfter = () => random() * run.replyMs
  relay.fault = () => {
    const dice = random()
    if (dice < 0.01) return { at: 'mail', do: 'close' }
    if (dice < 0.02) return { at: 'after-dot', do: 'close' }
    if (dice < 0.04) return { at: 'rcpt', do: 'answer', reply: '451 4.3.0 later' }
    return null
  }

  const began = Date.now()
  let kills = 0
  let over = false
  const running = new Map<ChildProcess, 'starting' | 'working'>()
  const start = () => {
    const child = startReplica({
      databaseUrl: run.databaseUrl,
      relayUrl: relay.url,
      policy: run.policy,
      leaseSeconds: 3,
    })
    running.set(child, 'starting')
    child.on('message', (message) => {
      if (message === 'claimed') running.set(child, 'working')
    })
    void ended(child).then(() => {
      running.delete(child)
      if (!over) start()
    })
  }
  for (let n = 0; n < run.replicas; n++) start()

  // the last kill well before the last letter: some letters end in doubt and are never kept
  const every = (run.notices * 0.85) / (run.kills + 1)
  relay.onKept = () => {
    if (kills >= run.kills || relay.kept.length < (kills + 1) * every) return
    const working = [...running].filter(([, state]) => state === 'working').map(([child]) => child)
    const victim = working[Math.floor(random() * working.length)]
    if (!victim) return
    kills++
    running.delete(victim)
    // somewhere in the letter that was just kept, or in another of this replica
    setTimeout(() => victim.kill('SIGKILL'), random() * 8)
  }

  for (;;) {
    await new Promise((resolve) => setTimeout(resolve, 250))
    const now = await states(pool)
    if (!now.queued && !now.claimed && !now['handing-over']) break
    if (Date.now() - began > 900_000) throw new Error(`not done after 15 minutes: ${JSON.stringify(now)}`)
  }
  over = true
  const left = [...running.keys()]
  for (const child of left) child.kill('SIGKILL')
  await Promise.all(left.map(ended))

  const { rows } = await pool.query<{ id: string; state: string }>('select id, state from notice')
  const copies = new Map<string, typeof relay.kept>()
  for (const letter of relay.kept) copies.set(letter.messageId, [...(copies.get(letter.messageId) ?? []), letter])
  const result: KillResult = {
    kills,
    seconds: Math.round((Date.now() - began) / 100) / 10,
    states: await states(pool),
    lost: 0,
    twice: 0,
    twiceOtherwise: 0,
    inDoubt: 0,
    inDoubtAccepted: 0,
    distinctKeys: new Set(relay.kept.map((letter) => letter.key)).size,
  }
  for (const row of rows) {
    const mine = copies.get(row.id) ?? []
    if (row.state === 'in-doubt') {
      result.inDoubt++
      if (mine.length > 0) result.inDoubtAccepted++
    } else if (mine.length === 0) result.lost++
    result.twice += Math.max(0, mine.length - 1)
    result.twiceOtherwise += mine.filter(
      (copy) => copy.key !== mine[0]?.key || !copy.raw.equals(mine[0]?.raw as Buffer),
    ).length
  }
  await relay.close()
  await pool.end()
  return result
}
