import { simpleParser } from 'mailparser'
import supertest from 'supertest'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { stillAllowed } from '../../../src/features/notices/decide-again.ts'
import { openHandingOver } from '../../../src/features/notices/handing-over.ts'
import { ownerSigner, stopAll } from '../../../src/features/owner-pages/answers.ts'
import { act } from '../../../src/http/service.ts'
import { run as flagLots } from '../../../src/jobs/flag-lots.ts'
import { type Relay, startRelay } from '../../faults/delivery/relay.ts'
import { ownerWithWatch, queueLetter, stateOf } from '../../letters/book.ts'
import type { House } from '../../support/house.ts'
import { eur, lotNow, openStock } from './shelf.ts'

let relay: Relay
let house: House
beforeAll(async () => {
  relay = await startRelay()
  const env = {
    SMTP_URL: relay.url,
    LETTERS_FROM: 'Test Centre <letters@centre.example>',
    PUBLIC_URL: 'https://centre.example',
  }
  house = await openStock('2026-12-01', env)
})
afterAll(async () => {
  await house.close()
  await relay.close()
})

async function handOver() {
  const letters = openHandingOver(house.service, stillAllowed)
  try {
    return await letters.round()
  } finally {
    await letters.close()
  }
}

async function made(path: string, body: object, role: 'counter' | 'bench' | 'stock' | 'manager' = 'stock') {
  const answer = await house.as(role).post(path, body)
  expect(answer.status, JSON.stringify(answer.body)).toBe(201)
  return answer.body
}

const ownerOf = async (watchId: string): Promise<string | null> =>
  (await house.as('counter').get(`/v1/watches/${watchId}`)).body.ownerId

async function watchOf(name: string, owner: object | null): Promise<string> {
  const ownerId = owner === null ? undefined : (await made('/v1/owners', { name, ...owner }, 'counter')).id
  const body = { maker: 'Northmoor', model: 'Quay', serial: `RK-${name}-77123`, kind: 'self-winding', ownerId }
  return (await made('/v1/watches', body, 'counter')).id
}
const mail = (name: string) => ({ contacts: [{ means: 'e-mail', value: `${name}@owner.example` }] })

describe('a recalled lot of gaskets', () => {
  let kindId: string
  const lots: Record<'one' | 'two', string> = { one: '', two: '' }
  const watch: Record<string, string> = {}
  let recall: string

  const issue = (watchId: string, pieces: number) => made('/v1/gasket-issues', { kindId, pieces, watchId })
  const putIn = (watchId: string, lotId: string, positions: string[]) =>
    house.as('bench').post('/v1/gasket-fittings', {
      watchId,
      gaskets: positions.map((position) => ({ lotId, pieces: 1, position })),
    })
  async function seal(watchId: string, ...positions: string[]) {
    const lotId = (await issue(watchId, positions.length)).gaskets[0].lotId
    const fitted = await putIn(watchId, lotId, positions)
    expect(fitted.status, JSON.stringify(fitted.body)).toBe(201)
    return lotId
  }
  const show = async () => (await house.as('manager').get(`/v1/recalls/${recall}`)).body

  beforeAll(async () => {
    kindId = (await made('/v1/gasket-kinds', { name: 'crown 2.0 x 0.4', innerMm: 2, cordMm: 0.4, material: 'NBR' })).id
    const lot = (lotNumber: string, cureQuarter: string, pieces: number) =>
      made('/v1/gasket-lots', {
        kindId,
        cureQuarter,
        lotNumber,
        supplier: 'Harbour Parts',
        receivedOn: '2026-06-01',
        pieces,
        unitCost: eur(40),
        storagePlace: `gaskets ${lotNumber}`,
      })
    lots.one = (await lot('G-1', '1Q2024', 13)).id
    lots.two = (await lot('G-2', '1Q2025', 20)).id
    watch.english = await watchOf('english', mail('english'))
    watch.german = await watchOf('german', { ...mail('german'), language: 'de' })
    watch.phone = await watchOf('phone', { contacts: [{ means: 'phone', value: '+41446681800' }] })
    watch.nobody = await watchOf('nobody', null)
    watch.twice = await watchOf('twice', mail('twice'))
    watch.silent = await watchOf('silent', {})
    watch.possible = await watchOf('possible', mail('possible'))
    watch.bench = await watchOf('bench', mail('bench'))
    watch.other = await watchOf('other', mail('other'))
    for (const name of ['english', 'german', 'phone', 'nobody', 'silent'])
      expect(await seal(watch[name]!, 'crown')).toBe(lots.one)
    expect(await seal(watch.twice, 'crown', 'back')).toBe(lots.one)
    await issue(watch.bench, 1)
    await made(`/v1/gasket-lots/${lots.one}/entries`, { kind: 'damaged-on-shelf', pieces: 1, reason: 'torn' })
    await made(
      `/v1/watches/${watch.possible}/events`,
      { event: 'seals-replaced', on: '2026-12-01', source: 'own-record' },
      'bench',
    )
  })

  it('is blocked at once; its mass balances, and every watch and piece is named', async () => {
    const body = await made('/v1/recalls', {
      kindId,
      supplier: 'harbour parts',
      lotNumber: 'G-1',
      reason: 'the compound swells in oil',
    })
    recall = body.id
    expect(body).toMatchObject({ what: 'gasket', name: 'crown 2.0 x 0.4', lotNumber: 'G-1' })
    // 13 received = 4 on the shelf + 1 at the bench + 7 fitted + 1 damaged
    expect(body.mass).toMatchObject({
      balances: true,
      sum: { received: 13, shelf: 4, outAtBench: 1, fitted: 7, damaged: 1, unaccounted: 0 },
    })
    expect(body.atBench).toEqual([{ lotId: lots.one, ticketId: null, watchId: watch.bench, pieces: 1 }])
    expect(body.fitted).toMatchObject({ pieces: 7, reachable: 4, ownersToWriteTo: 3, tellAtNextSight: 2 })
    expect(body.fitted.watches.map((w: { watchId: string }) => w.watchId).sort()).toEqual(
      ['english', 'german', 'phone', 'nobody', 'silent', 'twice'].map((name) => watch[name]).sort(),
    )
    expect(body.possible.map((w: { watchId: string }) => w.watchId)).toEqual([watch.possible])
    expect(await lotNow(house, lots.one, 'gasket-lots')).toMatchObject({ blocked: 'recall', mayBeFitted: false })
    expect(await lotNow(house, lots.two, 'gasket-lots')).toMatchObject({ blocked: null })
  })

  it('opens nothing: a piece at the bench is not fitted, and no other block or inspection sets the lot free', async () => {
    expect((await putIn(watch.bench!, lots.one, ['crown'])).body).toMatchObject({
      type: '/problems/lot-blocked',
      because: 'recall',
    })
    await made(`/v1/gasket-lots/${lots.one}/blocks`, { reason: 'stored-hot', note: 'seen beside the heater' })
    expect((await lotNow(house, lots.one, 'gasket-lots')).blocked).toBe('recall')
    const freed = await house
      .as('bench')
      .post(`/v1/gasket-lots/${lots.one}/inspections`, { purpose: 'release', passed: true, finding: 'supple' })
    expect(freed.status).toBe(409)
    expect((await house.as('manager').post(`/v1/gasket-lots/${lots.one}/releases`, { note: 'x' })).body.type).toBe(
      '/problems/blocked-by-recall',
    )
    // the next lot serves the next watch
    expect(await seal(watch.other!, 'crown')).toBe(lots.two)
  })

  it('is told by letter, in the owner’s language, outside rhythm and choice; else it is a task of the counter', async () => {
    // a reminder went out today, and letters about service are refused: a warning goes all the same
    const ownerId = (await ownerOf(watch.english!)) as string
    const reminder = await queueLetter(house, ownerId, watch.english!, { runOn: '2026-12-01' })
    await house.database.pool.query(`update notice set state = 'sent', sent_at = now() where id = $1`, [reminder])
    await made(
      `/v1/owners/${ownerId}/notice-choices`,
      { kind: 'complete-service', choice: 'no', means: 'counter', wording: '1' },
      'counter',
    )
    const told = await made(`/v1/recalls/${recall}/letters`, {})
    expect(told.queued).toBe(4)
    expect(await handOver()).toMatchObject({ sent: 4, withdrawn: 0, failed: 0 })
    const subjects = new Map<string, string>()
    for (const { to, raw } of relay.kept) {
      const letter = await simpleParser(raw)
      subjects.set(to[0]!, letter.subject ?? '')
      expect(letter.text).not.toContain('undefined')
      // a warning is not to be stopped, but it can be answered: the page names the watch it is about
      expect(letter.text).not.toContain('/your-letters/')
      const page = /https:\/\/centre\.example(\/your-watches\/\S+)/.exec(letter.text ?? '')?.[1] ?? ''
      const shown = await supertest(house.app.server).get(page)
      expect([shown.status, shown.text.includes('Northmoor Quay')]).toEqual([200, true])
      if (to[0] === 'german@owner.example')
        expect(letter.text?.replace(/\s+/g, ' ')).toContain('von Wasser und Feuchtigkeit fern')
    }
    expect(Object.fromEntries([...subjects].sort())).toEqual({
      'english@owner.example': 'A gasket in your watch was called back by its supplier',
      'german@owner.example': 'Eine Dichtung in Ihrer Uhr wurde vom Lieferanten zurückgerufen',
      'possible@owner.example': 'A gasket in your watch was called back by its supplier',
      'twice@owner.example': 'A gasket in your watch was called back by its supplier',
    })
    const tasks = (await house.as('counter').get('/v1/tasks?role=counter&kind=recall-tell')).body.items
    expect(tasks.map((task: { watchId: string }) => task.watchId).sort()).toEqual([watch.phone, watch.silent].sort())
    const states = Object.fromEntries(
      (await show()).fitted.watches.map((w: { watchId: string; state: string }) => [w.watchId, w.state]),
    )
    expect([states[watch.nobody!], states[watch.silent!], states[watch.phone!], states[watch.english!]]).toEqual([
      'tell-at-next-sight',
      'tell-at-next-sight',
      'to-tell',
      'letter-queued',
    ])
  })

  it('asked again writes to nobody twice and makes no second task', async () => {
    expect((await made(`/v1/recalls/${recall}/letters`, {})).queued).toBe(0)
    expect(await handOver()).toMatchObject({ sent: 0 })
    expect(relay.kept).toHaveLength(4)
    expect((await house.as('counter').get('/v1/tasks?role=counter&kind=recall-tell')).body.items).toHaveLength(2)
  })

  it('a letter that came back told nobody, and is not sent a second time', async () => {
    const row = async () => (await show()).fitted.watches.find((w: { watchId: string }) => w.watchId === watch.german)
    const { noticeId } = await row()
    await house.database.pool.query('update notice set returned_at = now() where id = $1', [noticeId])
    expect((await row()).state).toBe('tell-at-next-sight')
    expect((await made(`/v1/recalls/${recall}/letters`, {})).queued).toBe(0)
  })

  it('a piece leaves the list when another is fitted in its position, and only then', async () => {
    await seal(watch.twice!, 'back')
    expect((await show()).progress).toEqual({ all: 6, settled: 0, open: 6 })
    await seal(watch.twice!, 'crown')
    const after = await show()
    expect(after.progress).toEqual({ all: 6, settled: 1, open: 5 })
    expect(after.takenOutSince).toMatchObject([{ watchId: watch.twice, pieces: 2 }])
    expect(after.mass).toMatchObject({ balances: true, sum: { fitted: 7 } })
  })

  it('the watch comes in on a ticket that costs nothing, and the counter is warned when it is booked in', async () => {
    const ticket = await made(
      `/v1/recalls/${recall}/watches/${watch.phone}/tickets`,
      { place: 'counter', broughtBy: 'the owner' },
      'counter',
    )
    const file = (await house.as('counter').get(`/v1/tickets/${ticket.ticketId}`)).body
    expect(JSON.stringify(file)).toContain('Change it free of charge')
    const { rows } = await house.database.pool.query(
      `select data -> 'amount' ->> 'amount' as amount from ticket_record where ticket_id = $1 and kind = 'ceiling'`,
      [ticket.ticketId],
    )
    expect(rows).toEqual([{ amount: '0' }])
    const row = ticket.recall.fitted.watches.find((w: { watchId: string }) => w.watchId === watch.phone)
    expect(row).toMatchObject({ state: 'told', ticketId: ticket.ticketId, reach: 'in-house' })
    // told is done: its task is closed
    expect((await house.as('counter').get('/v1/tasks?role=counter&kind=recall-tell')).body.items).toHaveLength(1)
    // asked twice it is the same ticket
    const again = await made(`/v1/recalls/${recall}/watches/${watch.phone}/tickets`, {}, 'counter')
    expect(again.ticketId).toBe(ticket.ticketId)
    const booked = await made(
      '/v1/tickets',
      { owner: { id: await ownerOf(watch.german!) }, watch: { id: watch.german }, complaint: 'strap' },
      'counter',
    )
    expect(booked.warnings).toContain('recall')
    const settled = await house.as('counter').post(`/v1/recalls/${recall}/watches/${watch.twice}/tickets`, {})
    expect(settled.body.type).toBe('/problems/recall-watch-settled')
    const unknown = await house.as('counter').post(`/v1/recalls/${recall}/watches/${watch.nobody}/tickets`, {})
    expect(unknown.body.type).toBe('/problems/recall-owner-unknown')
  })
})

describe('the last look before a recall letter goes', () => {
  let lotId: string
  let partId: string
  let recall: string
  const people: { ownerId: string; watchId: string }[] = []
  const noticeOf = async (watchId: string): Promise<string> => {
    const { body } = await house.as('manager').get(`/v1/recalls/${recall}`)
    return body.fitted.watches.find((w: { watchId: string }) => w.watchId === watchId).noticeId
  }

  beforeAll(async () => {
    relay.kept.length = 0
    partId = (await made('/v1/parts', { name: 'crown steel 5.5', partKind: 'crown' })).id
    lotId = (
      await made('/v1/part-lots', {
        partId,
        lotNumber: 'P-7',
        supplier: 'Harbour Parts',
        receivedOn: '2026-06-01',
        pieces: 10,
        unitCost: eur(900),
        storagePlace: 'crowns P-7',
      })
    ).id
    for (let i = 0; i < 4; i++) {
      const person = await ownerWithWatch(house, { email: `part${i}@owner.example`, watch: { kind: 'self-winding' } })
      people.push(person)
      await made('/v1/part-issues', { partId, pieces: 1, watchId: person.watchId })
      await made('/v1/part-fittings', { lotId, pieces: 1, watchId: person.watchId }, 'bench')
    }
    const opened = await made('/v1/recalls', {
      partId,
      supplier: 'Harbour Parts',
      lotNumber: 'P-7',
      reason: 'loose thread',
    })
    recall = opened.id
    expect(opened).toMatchObject({ what: 'part', possible: [], mass: { balances: true, sum: { fitted: 4, shelf: 6 } } })
    expect((await made(`/v1/recalls/${recall}/letters`, {})).queued).toBe(4)
  })

  it('stops what reached another owner, a settled watch or a dead address, and nothing else', async () => {
    const [sold, settled, dead, goes] = people as [
      (typeof people)[0],
      (typeof people)[0],
      (typeof people)[0],
      (typeof people)[0],
    ]
    const notices = await Promise.all(people.map((person) => noticeOf(person.watchId)))
    // past the use cases, which withdraw by themselves: the letter was already in a claim
    const { pool } = house.database
    const heir = await ownerWithWatch(house, { email: 'heir@owner.example', language: 'fr' })
    await pool.query('update watch set owner_id = $2 where id = $1', [sold.watchId, heir.ownerId])
    await house
      .as('counter')
      .post(`/v1/recalls/${recall}/watches/${settled.watchId}/progress`, { state: 'settled' })
      .expect(200)
    await pool.query(`update contact set failed_on = '2026-12-01' where owner_id = $1`, [dead.ownerId])
    // the owner stops every reminder by the link in one, which is withdrawn: that is no answer to a warning
    const reminder = await queueLetter(house, goes.ownerId, goes.watchId)
    await act(house.service, ownerSigner, (doing) =>
      stopAll(doing, { ownerId: goes.ownerId, noticeId: reminder, language: 'en', watches: [] }),
    )
    expect(await stateOf(house, reminder)).toBe('withdrawn')

    expect(await handOver()).toMatchObject({ sent: 1, withdrawn: 3, failed: 0 })
    expect(relay.kept.map((kept) => kept.to)).toEqual([['part3@owner.example']])
    expect(await Promise.all(notices.map((id) => stateOf(house, id)))).toEqual([
      'withdrawn',
      'withdrawn',
      'withdrawn',
      'sent',
    ])
    const { rows } = await pool.query(
      'select withdrawn_why from notice where id = any($1) and state = $2 order by id',
      [notices, 'withdrawn'],
    )
    expect(rows.map((row) => row.withdrawn_why)).toEqual(['watch-of-another-owner', 'recall-settled', 'no-address'])
  })

  it('the night asks the stock for what did not go; the new owner is told in his language, the other by the counter', async () => {
    const night = () => flagLots({ db: house.database, today: '2026-12-02' as never, currency: 'EUR' })
    await night()
    await night()
    const tasks = (await house.as('stock').get('/v1/tasks?role=stock&kind=recall-letters')).body.items
    expect(tasks).toHaveLength(1)
    expect(tasks[0].words).toContain('about 2 of its watches')
    relay.kept.length = 0
    expect((await made(`/v1/recalls/${recall}/letters`, {})).queued).toBe(1)
    expect(await handOver()).toMatchObject({ sent: 1, withdrawn: 0 })
    const letter = await simpleParser(relay.kept[0]!.raw)
    expect([relay.kept[0]!.to, letter.subject]).toEqual([
      ['heir@owner.example'],
      'Une pièce de votre montre est rappelée par son fournisseur',
    ])
    const { body } = await house.as('counter').get(`/v1/tasks?kind=recall-tell&watchId=${people[2]!.watchId}`)
    expect(body.items).toMatchObject([{ role: 'counter', ownerId: people[2]!.ownerId }])
  })
})

describe('a recall asked for badly', () => {
  it('names one thing that is on file, of a supplier who brought it', async () => {
    const ask = (body: object) =>
      house.as('stock').post('/v1/recalls', { supplier: 'Harbour Parts', lotNumber: 'X', reason: 'x', ...body })
    const nothing = '00000000-0000-7000-8000-000000000000'
    expect((await ask({})).body.errors[0].pointer).toBe('#/designation')
    expect((await ask({ kindId: nothing, partId: nothing })).body.errors[0].pointer).toBe('#/designation')
    expect((await ask({ kindId: nothing })).body.errors[0].pointer).toBe('#/kindId')
    expect((await ask({ partId: nothing })).body.errors[0].pointer).toBe('#/partId')
    expect((await ask({ designation: 'SR41' })).body.errors[0].pointer).toBe('#/designation')
  })
})
