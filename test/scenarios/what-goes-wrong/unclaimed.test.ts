import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { eur, openShop, type Shop } from '../../features/tickets/shop.ts'

/** What goes wrong after the work: nobody fetches the watch, and what the service does then (common practice, no source). */
let shop: Shop
beforeAll(async () => {
  shop = await openShop()
})
afterAll(() => shop.close())

describe('unclaimed for months', () => {
  test('the clock runs from the delivered notice, nothing is disposed of by itself, and a missing law means stop', async () => {
    shop.house.setNow('2026-12-16T11:00:00Z')
    const ticket = await shop.readied()
    const plan = async () =>
      (await shop.counter.get(`/v1/tickets/${ticket.number}/unclaimed-plan`).expect(200)).body.plan
    await shop.told(ticket.number, 'contacts', { about: 'ready', means: 'e-mail', result: 'sent' })
    expect(await plan()).toBeNull()
    const dispose = () =>
      shop.manager.post(`/v1/tickets/${ticket.number}/endings`, { as: 'disposed-of', words: 'nobody came' })
    expect((await dispose()).body.detail).toContain('none that it is ready was delivered')
    await shop.told(ticket.number, 'contacts', { about: 'ready', means: 'e-mail', result: 'delivered' })
    expect((await plan()).steps.map((step: { on: string }) => step.on)).toEqual([
      '2026-12-30',
      '2027-01-30',
      '2027-03-16',
    ])
    expect((await dispose()).body, 'and says what comes first').toMatchObject({
      status: 409,
      detail: expect.stringContaining('have not all been given; next is a second means'),
    })
    const early = await shop.say(ticket.number, 'unclaimed-steps', { step: 'registered', words: 'amount owed 36.00' })
    expect(early.body).toMatchObject({ status: 409, detail: expect.stringContaining('2027-03-16') })
    shop.house.setNow('2027-03-16T09:00:00Z')
    const registered = { step: 'registered', words: 'amount owed 36.00' }
    const before = await shop.say(ticket.number, 'unclaimed-steps', { ...registered, proof: 'RR 1' })
    expect(before.body).toMatchObject({ status: 409, detail: expect.stringContaining('a second means') })
    const unwritten = await shop.say(ticket.number, 'unclaimed-steps', { step: 'post', words: 'letter' })
    expect(unwritten.body).toMatchObject({ status: 409, detail: expect.stringContaining('a second means') })
    await shop.told(ticket.number, 'unclaimed-steps', { step: 'second-means', words: 'called, no answer' })
    await shop.told(ticket.number, 'unclaimed-steps', { step: 'post', words: 'letter' })
    const unproved = await shop.say(ticket.number, 'unclaimed-steps', registered)
    expect(unproved.body.errors).toMatchObject([{ pointer: '#/proof' }])
    await shop.told(ticket.number, 'unclaimed-steps', { ...registered, proof: 'RR 1' })
    expect((await plan()).after).toMatchObject({ state: 'stop' })
    expect((await dispose()).body).toMatchObject({ type: '/problems/setting-missing', setting: 'unclaimedLaw' })
    await shop.made(shop.manager, '/v1/local-settings', {
      key: 'unclaimedLaw',
      value: { name: 'the local act', monthsIfOwed: 3, monthsIfNotOwed: 1 },
      fromDay: '2027-03-16',
      reason: 'asked',
    })
    expect((await plan()).after).toMatchObject({ state: 'law', noStepThrough: '2027-06-16' })
    shop.house.setNow('2027-06-16T09:00:00Z')
    expect((await dispose()).status).toBe(409)
    shop.house.setNow('2027-06-17T09:00:00Z')
    const held = { state: 'dispute', until: '2027-07-01', reason: 'a sister says it is hers' }
    await shop.manager.post(`/v1/tickets/${ticket.number}/side-states`, held).expect(200)
    expect((await dispose()).body).toMatchObject({ type: '/problems/ticket-frozen', side: 'dispute' })
    await shop.manager.post(`/v1/tickets/${ticket.number}/side-state-ends`, { reason: 'it is not' }).expect(200)
    expect((await dispose()).body).toMatchObject({ ended: 'disposed-of', place: 'disposed of under the local act' })
    const story = (await shop.counter.get(`/v1/watches/${ticket.watchId}/story`).expect(200)).body.entries as {
      what: string
      words: string
    }[]
    expect(story.findLast((entry) => entry.what === 'custody')?.words).toContain('disposed of under the local act')
    shop.house.setNow('2026-12-16T12:00:00Z')
  })
})

type Row = {
  number: string
  stage: string
  mayDo: string
  days: number
  deliveredOn: string | null
  stop: string | null
}
test('all of them on one page: the stage of each clock, its days, what may be done next, and a missing law said plainly', async () => {
  const other = await openShop({ now: '2026-08-31T09:00:00Z' })
  try {
    const ready = async () => {
      const ticket = await other.readied()
      const told = (result: string) =>
        other.told(ticket.number, 'contacts', { about: 'ready', means: 'e-mail', result })
      return { ...ticket, told }
    }
    const rows = async () => (await other.manager.get('/v1/reports/unclaimed-watches').expect(200)).body.items as Row[]
    const told = await ready()
    await told.told('delivered')
    const untold = await ready()
    await untold.told('sent')
    other.house.setNow('2026-09-13T09:00:00Z')
    expect(await rows(), 'the house waits fourteen days').toEqual([])

    other.house.setNow('2026-09-14T09:00:00Z')
    const fresh = await ready()
    expect(await rows()).toMatchObject([
      {
        number: told.number,
        stage: 'second-means-due',
        mayDo: expect.stringContaining('second means'),
        days: 14,
        deliveredOn: '2026-08-31',
        owed: eur(3600),
        stop: expect.stringContaining('unclaimedLaw is not set'),
      },
      {
        number: untold.number,
        stage: 'not-told',
        days: 14,
        deliveredOn: null,
        mayDo: expect.stringContaining('no clock runs'),
      },
    ])
    await other.told(told.number, 'unclaimed-steps', { step: 'second-means', words: 'called, no answer' })
    const [waiting] = await rows()
    expect(waiting).toMatchObject({ stage: 'waiting', mayDo: 'wait: a letter by post on 2026-10-15' })
    expect((await rows()).map((row) => row.number)).not.toContain(fresh.number)

    // the registered letter falls on a Sunday and is posted on the Monday
    const stages = async (day: string) => {
      other.house.setNow(`${day}T09:00:00Z`)
      return (await rows()).find((row) => row.number === told.number)!
    }
    expect(await stages('2026-10-15')).toMatchObject({ stage: 'post-due' })
    expect(await stages('2026-11-29')).toMatchObject({ stage: 'post-due' })
    expect(await stages('2026-11-30'), 'each after the one before it').toMatchObject({ stage: 'post-due' })
    await other.told(told.number, 'unclaimed-steps', { step: 'post', words: 'letter' })
    expect(await stages('2026-11-30')).toMatchObject({ stage: 'registered-due' })
    await other.told(told.number, 'unclaimed-steps', { step: 'registered', words: '36.00 owed', proof: 'RR 2' })
    expect(await stages('2030-01-01'), 'never by itself').toMatchObject({
      stage: 'law-missing',
      mayDo: expect.stringContaining('stop and ask'),
    })
    expect((await other.counter.get(`/v1/tickets/${told.number}`).expect(200)).body.ended).toBeNull()
    other.house.setNow('2026-11-30T10:00:00Z')
    await other.made(other.manager, '/v1/local-settings', {
      key: 'unclaimedLaw',
      value: { name: 'the local act', monthsIfOwed: 3, monthsIfNotOwed: 1 },
      fromDay: '2026-11-30',
      reason: 'asked',
    })
    // three months of notice from 30 November clamp to 28 February
    expect(await stages('2027-02-28')).toMatchObject({ stage: 'law-runs', on: '2027-02-28', stop: null })
    expect(await stages('2027-03-01')).toMatchObject({
      stage: 'law-over',
      mayDo: expect.stringContaining('the manager decides'),
    })

    const csv = await other.counter.get('/v1/reports/unclaimed-watches').set('accept', 'text/csv').expect(200)
    expect(csv.text.split('\r\n')[0]).toBe(
      'number,watch,ownerName,place,side,readyOn,deliveredOn,days,stage,mayDo,on,owed,currency,stop',
    )
    const page = await other.counter.get('/v1/reports/unclaimed-watches?limit=1').expect(200)
    expect(page.body.items).toHaveLength(1)
    expect(page.headers.link).toContain('rel="next"')
  } finally {
    await other.close()
  }
})
