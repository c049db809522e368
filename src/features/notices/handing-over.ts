import type { Db } from '../../db/open.ts'
import { transaction } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { act, type Service, type Signer, todayAt } from '../../http/service.ts'
import { type DeliveryCounts, deliverDue, type Refused } from '../../letters/delivery.ts'
import { folderTransport } from '../../letters/folder.ts'
import type { AtPoint, Transport } from '../../letters/outgoing.ts'
import { smtpTransport } from '../../letters/smtp.ts'
import { suppressedAmong } from '../persons/suppression.ts'
import { addLetterTask } from './house-tasks.ts'
import { letterDeskOf, prepareLetters } from './letters.ts'

/** The reasons, per notice, for which a claimed letter may not go after all. */
export type StillAllowed = (tx: Db, noticeIds: readonly string[], today: Day) => Promise<Map<string, string[]>>

const byItself: Signer = { keyId: null, name: 'hand-over of letters', role: 'service' }

export type HandingOver = {
  transport: Transport
  /** one round; may run beside those of other replicas */
  round: (stop?: AbortSignal) => Promise<DeliveryCounts>
  close: () => Promise<void>
}

/** The letters of this house on their way: by its relay, or into its folder where no relay is configured. */
export function openHandingOver(service: Service, stillAllowed: StillAllowed, at?: AtPoint): HandingOver {
  const { config, database, log } = service
  const desk = letterDeskOf(service)
  const transport = config.letters.smtpUrl
    ? smtpTransport({
        url: config.letters.smtpUrl,
        name: desk.sender.address.split('@')[1] ?? 'localhost',
        connections: config.letters.smtpConnections,
        ...(at ? { at } : {}),
      })
    : folderTransport({ folder: config.letters.folder, ...(at ? { at } : {}) })
  return {
    transport,
    close: () => transport.close(),
    round: (stop) =>
      deliverDue({
        pool: database.pool,
        transport,
        policy: config.letters.inDoubt,
        prepare: (claims) => prepareLetters(database.pool, desk, claims, service.clock.now()),
        withheld: (noticeIds) =>
          transaction(database, async (tx) => {
            const suppressed = await suppressedAmong(tx, desk.secret, noticeIds)
            return new Map([...suppressed, ...(await stillAllowed(tx, noticeIds, todayAt(service)))])
          }),
        onRefused: (refusal) => noteRefusal(service, refusal),
        tellDoubts: () => tellDoubts(service),
        log,
        ...(stop ? { stop } : {}),
        ...(at ? { at } : {}),
      }),
  }
}

/** Refused for good. A bad address is not written to again: the counter is asked for another. */
async function noteRefusal(service: Service, refusal: Refused): Promise<void> {
  await act(service, byItself, async ({ tx, today }) => {
    const [row] = await tx.$queryRaw<
      { owner_id: string }[]
    >`select owner_id from notice where id = ${refusal.noticeId}::uuid`
    if (!row) return
    if (refusal.badAddress !== null) {
      await tx.$executeRaw`
        update contact set failed_on = ${today}::date, failed_why = ${refusal.response}
        where owner_id = ${row.owner_id}::uuid and means = 'e-mail' and value = ${refusal.badAddress} and ended_on is null and failed_on is null`
    }
    await addLetterTask(tx, today, {
      kind: refusal.badAddress ? 'bad-address' : 'letter-refused',
      role: refusal.badAddress ? 'counter' : 'manager',
      dedupe: refusal.badAddress ? `bad-address/${row.owner_id}` : `letter-refused/${refusal.noticeId}`,
      words: refusal.badAddress
        ? `A letter could not be delivered: the mail address was refused (${refusal.response}). Ask the owner for another one.`
        : `A letter could not be handed over and was given up (${refusal.response}). Look at the notice and at the relay.`,
      ownerId: row.owner_id,
      noticeId: refusal.noticeId,
    })
  })
}

/** One task for each letter in doubt, for the first time it is seen there. */
async function tellDoubts(service: Service): Promise<void> {
  await act(service, byItself, async ({ tx, today }) => {
    const rows = await tx.$queryRaw<{ id: string; owner_id: string }[]>`
      select id, owner_id from notice where state = 'in-doubt'
        and not exists (select from task where task.notice_id = notice.id and task.kind = 'letter-in-doubt')`
    for (const row of rows)
      await addLetterTask(tx, today, {
        kind: 'letter-in-doubt',
        role: 'manager',
        dedupe: `letter-in-doubt/${row.id}`,
        words:
          'The connection broke while a letter was handed over: it may or may not have been accepted. Look in the log of the relay for its Message-ID, then say which.',
        ownerId: row.owner_id,
        noticeId: row.id,
      })
  })
}
