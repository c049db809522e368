import pg from 'pg'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { sealHistory, verifyHistory } from '../../../src/db/history.ts'
import { withoutPerson } from '../../../src/features/persons/forgetting.ts'
import { tickHousekeeping } from '../../../src/jobs/housekeeping.ts'
import { eur, openShop, type Shop } from './shop.ts'

/** GDPR Article 17 and its exceptions at tickets: persons go, the work, the lots and the money stay. */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

const sql = async <T extends object>(text: string, values: unknown[] = []) =>
  (await shop.house.database.pool.query<T>(text, values)).rows
const erase = (owner: string) => shop.manager.post(`/v1/owners/${owner}/erasures`, { how: 'at the counter' })

/** Every table in which one of the words is still to be read. */
async function traces(words: string[]): Promise<string[]> {
  const tables = await sql<{ t: string }>(
    `select quote_ident(tablename) as t from pg_tables where schemaname = 'public'`,
  )
  const found: string[] = []
  for (const { t } of tables) {
    const [row] = await sql<{ n: number }>(
      `select count(*)::int as n from ${t} as r where exists (select from unnest($1::text[]) as w where position(lower(w) in lower(to_jsonb(r)::text)) > 0)`,
      [words],
    )
    if ((row?.n ?? 0) > 0) found.push(t)
  }
  return found
}

test('everyone named at a ticket goes with its owner, and so does what the owner said; what was done stays', async () => {
  const ownerId = await shop.owner('Ottoline Brackenbury')
  const { name } = (await shop.counter.get(`/v1/owners/${ownerId}`).expect(200)).body
  const ticket = await shop.readied({
    ownerId,
    complaint: 'My neighbour Wilfrid Ashdown dropped it',
    returnWish: 'leave it with Philippa Thorncastle',
    broughtBy: 'Leopold Quartermain',
    mayCollect: ['Philippa Thorncastle'],
    mayApprove: ['Cressida Hollowell'],
  })
  await shop.told(ticket.number, 'contacts', {
    about: 'ready',
    means: 'phone',
    result: 'delivered',
    words: `${name} was told by Philippa Thorncastle`,
  })
  await shop.pay(ticket.number, ticket.estimate.total)
  await shop.moved(ticket.number, 'handed-over', {
    release: shop.release(ticket, 'Philippa Thorncastle', ticket.serialOn, {
      identityProof: 'passport of Philippa Thorncastle',
      twinAnswer: 'it was a gift from Wilfrid Ashdown',
      papersShown: 'letter of Cressida Hollowell',
    }),
  })
  const words = [name, 'Ashdown', 'Thorncastle', 'Quartermain', 'Hollowell']
  expect((await traces(words)).sort()).toEqual(
    expect.arrayContaining(['estimate_answer', 'owner', 'ticket', 'ticket_record']),
  )
  await sealHistory(shop.house.database.pool, shop.house.service.clock.now())
  const work = `select kind, count(*)::int as n from ticket_record where ticket_id = $1 group by kind order by kind`
  const before = await sql(work, [ticket.id])
  const money = `select total from estimate where ticket_id = $1 union all select (data #>> '{amount,amount}')::bigint from ticket_record where ticket_id = $1 and kind = 'payment'`
  const paid = await sql(money, [ticket.id])

  expect((await erase(ownerId).expect(201)).body).toMatchObject({ state: 'done', because: [] })
  expect(await traces(words)).toEqual([])
  expect(await sql(work, [ticket.id])).toEqual(before)
  expect(await sql(money, [ticket.id])).toEqual(paid)
  const [look] = await sql<{ findings: string }>(
    `select data ->> 'findings' as findings from ticket_record where ticket_id = $1 and kind = 'look'`,
    [ticket.id],
  )
  expect(look?.findings).toBe('cell spent')
  // the gates, their answers and overrides are still shown
  await shop.counter.get(`/v1/tickets/${ticket.number}`).expect(200)
  await shop.counter.get(`/v1/watches/${ticket.watchId}/story`).expect(200)
  expect((await verifyHistory(shop.house.database.pool)).findings).toEqual([])
})

describe('what postpones', () => {
  test('a watch that came back under the guarantee, and it is said as such; done by itself when it has gone', async () => {
    const ticket = await shop.readied()
    await shop.pay(ticket.number, ticket.estimate.total)
    await shop.moved(ticket.number, 'handed-over', { release: shop.release(ticket, ticket.collector, ticket.serialOn) })
    const back = await shop.book({ ownerId: ticket.ownerId, watchId: ticket.watchId, comebackOf: ticket.number })
    const { body } = await erase(ticket.ownerId).expect(201)
    expect(body.state).toBe('postponed')
    expect(body.because).toEqual([
      `ticket ${back.number}, which came back for ticket ${ticket.number}, is open`,
      `watch ${ticket.watchId} is in the house`,
    ])
    const [task] = await sql<{ words: string }>('select words from task where dedupe = $1', [
      `erasure-answer/${body.id}`,
    ])
    expect(task?.words).toContain(`came back for ticket ${ticket.number}`)
    await sql(
      `with t as (update ticket set ended = 'handed-over', ended_on = '2026-11-25', next_actor = null, next_by = null where id = $1 returning watch_id)
       update watch set in_house = false from t where watch.id = t.watch_id`,
      [back.id],
    )
    await tickHousekeeping(shop.house.service)
    expect((await shop.manager.get(`/v1/erasures/${body.id}`)).body.state).toBe('done')
  })

  test('a bill on credit that is not paid, with the amount; a running guarantee alone does not', async () => {
    const ticket = await shop.readied()
    await shop.manager.patch(`/v1/owners/${ticket.ownerId}`, { standing: 'business-account' }, '*').expect(200)
    await shop.told(ticket.number, 'payments', { amount: eur(ticket.estimate.total), how: 'credit' })
    await shop.moved(ticket.number, 'handed-over', { release: shop.release(ticket, ticket.collector, ticket.serialOn) })
    expect((await sql(`select 1 from guarantee where ticket_id = $1`, [ticket.id])).length).toBeGreaterThan(0)
    const { body } = await erase(ticket.ownerId).expect(201)
    expect([body.state, body.because]).toEqual([
      'postponed',
      [`36.00 EUR of ticket ${ticket.number} are still to be paid`],
    ])
    await shop.pay(ticket.number, 5000)
    await tickHousekeeping(shop.house.service)
    expect((await shop.manager.get(`/v1/erasures/${body.id}`)).body.because).toEqual([
      `14.00 EUR of ticket ${ticket.number} are still to be returned`,
    ])
    await shop.told(ticket.number, 'payments', { amount: eur(1400), how: 'returned' })
    await tickHousekeeping(shop.house.service)
    expect((await shop.manager.get(`/v1/erasures/${body.id}`)).body.state).toBe('done')
  })
})

test('a repetition of the booking, with its words, is answered that the person was erased', async () => {
  const body = await shop.booking({ complaint: 'in my own words' })
  const { id } = (await shop.counter.post('/v1/tickets', body, '"booked-once"').expect(201)).body
  await sql(
    `with t as (update ticket set ended = 'handed-over', ended_on = '2026-11-25', next_actor = null, next_by = null where id = $1 returning watch_id)
     update watch set in_house = false from t where watch.id = t.watch_id`,
    [id],
  )
  await erase((body.owner as { id: string }).id).expect(201)
  const again = await shop.counter.post('/v1/tickets', body, '"booked-once"')
  expect([again.status, again.body.type]).toEqual([410, '/problems/owner-erased'])
})

test('gate answers kept with a move, and overrides, are in the chain', async () => {
  const ticket = await shop.readied()
  await sealHistory(shop.house.database.pool, shop.house.service.clock.now())
  const superuser = new pg.Client({ connectionString: shop.house.databaseUrl })
  await superuser.connect()
  try {
    for (const change of [
      `data = jsonb_set(data, '{gates}', '[]') where kind = 'move' and ticket_id = '${ticket.id}' and jsonb_array_length(data -> 'gates') > 0`,
      `kind = 'override' where kind = 'final-check' and ticket_id = '${ticket.id}'`,
    ]) {
      await superuser.query('create temporary table kept as select * from ticket_record')
      await superuser.query(
        `begin; set local session_replication_role = replica; update ticket_record set ${change}; commit`,
      )
      expect((await verifyHistory(shop.house.database.pool)).findings.join()).toMatch(
        /ticket_record: \d+ rows were changed/,
      )
      await superuser.query(
        `begin; set local session_replication_role = replica; delete from ticket_record; insert into ticket_record select * from kept; commit; drop table kept`,
      )
      expect((await verifyHistory(shop.house.database.pool)).findings).toEqual([])
    }
  } finally {
    await superuser.end()
  }
})

test.each([
  ['booked', { complaint: 'hers', hazards: ['a'] }, { complaint: 'erased', hazards: ['a'] }],
  ['look', { findings: 'Ada Vole was right: worn' }, { findings: 'erased was right: worn' }],
  ['look', { findings: 'Nevada Voles' }, { findings: 'Nevada Voles' }],
  ['hazard-over', { words: 'aired for a night' }, { words: 'aired for a night' }],
  ['contact', { words: 'at her sister’s', means: 'phone' }, { words: 'erased', means: 'phone' }],
  ['unclaimed-step', { words: 'sent to Ada Vole', proof: 'RR 12' }, { words: 'sent to erased', proof: 'RR 12' }],
  ['people', { approve: ['Ada Vole'], collect: [], willCallIn: true }, { approve: [], collect: [], willCallIn: true }],
  [
    'move',
    { gates: [{ gate: 'G15', why: 'ADA VOLE may not collect' }] },
    { gates: [{ gate: 'G15', why: 'erased may not collect' }] },
  ],
  ['payment', { how: 'paid', amount: eur(3) }, { how: 'paid', amount: eur(3) }],
])('of a record "%s" goes what is of the person: %j', (kind, data, left) => {
  const result = withoutPerson(kind, data, ['Ada Vole', 'x'])
  expect(result).toEqual(left)
  // what held nothing of them is not touched, so that its seal stays
  expect(result === data).toBe(JSON.stringify(data) === JSON.stringify(left))
})
