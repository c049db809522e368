import { inWords } from '../../domain/money.ts'
import type { Act } from '../../http/service.ts'
import { readRows } from '../tickets/reading.ts'
import { load } from '../tickets/snapshot.ts'

/**
 * What is still open with a person, in words; nothing may be forgotten while something is: tickets (one that came back is a
 * claim under the guarantee), watches in the house, disputes, and money either side still owes the other. A guarantee that
 * merely runs is no open claim: it stays with the watch.
 */
export async function openWith(act: Act, ownerIds: readonly string[], currency: string): Promise<string[]> {
  const ids = [...ownerIds]
  const rows = await act.tx.$queryRaw<{ why: string }[]>`
    select 'ticket ' || t.number || case when e.number is null then ' is open' else ', which came back for ticket ' || e.number || ', is open' end as why
      from ticket t left join ticket e on e.id = t.comeback_of where t.owner_id = any(${ids}::uuid[]) and t.ended is null
    union select 'watch ' || id || ' is in the house' from watch where owner_id = any(${ids}::uuid[]) and in_house
    union select 'a claim or dispute is open' from owner where id = any(${ids}::uuid[]) and standing = 'in-dispute'
    order by why`
  return [...rows.map((row) => row.why), ...(await moneyBetween(act, ids, currency))]
}

/** Tickets that have ended and are not even: a business on credit that has not paid, a deposit that was not returned. */
async function moneyBetween({ tx, now, today }: Act, ownerIds: string[], currency: string): Promise<string[]> {
  const ended = await tx.$queryRaw<{ id: string; number: string }[]>`
    select id, number from ticket t where owner_id = any(${ownerIds}::uuid[]) and ended = 'handed-over'
      and (exists (select from estimate_answer a where a.ticket_id = t.id) or exists (select from ticket_record r where r.ticket_id = t.id and r.kind = 'payment'))
    order by number`
  const open: string[] = []
  for (const { id, number } of ended) {
    const rows = await readRows(tx, id, today)
    if (!rows) continue
    const { snapshot } = load(rows, now.getTime(), today, currency)
    const owed = (snapshot.bill?.amount ?? 0) - (snapshot.paidTotal?.amount ?? 0)
    const unit = (snapshot.bill ?? snapshot.paidTotal)?.currency ?? currency
    const amount = inWords({ amount: Math.abs(owed), currency: unit })
    if (owed !== 0) open.push(`${amount} of ticket ${number} are still to be ${owed > 0 ? 'paid' : 'returned'}`)
  }
  return open
}
