import { afterAll, beforeAll, describe, expect, it, test } from 'vitest'
import type { House } from '../../support/house.ts'
import {
  addCalibre,
  addDesignation,
  addWatch,
  eur,
  everything,
  fillShelf,
  type Lots,
  lotNow,
  openStock,
  receive,
} from './shelf.ts'

let house: House
let lots: Lots
let calibre: string
beforeAll(async () => {
  house = await openStock()
  lots = await fillShelf(house)
  calibre = await addCalibre(house, 'Q 10', 'SR66SW')
})
afterAll(() => house.close())

const bench = () => house.as('bench')
const cellDue = (body: { obligations: { kind: string }[] }) => body.obligations.find((o) => o.kind === 'cell-change')
async function issued(watchId: string, body: object = {}, role: 'bench' | 'manager' = 'bench'): Promise<string> {
  const made = await house.as(role).post('/v1/cell-issues', { watchId, ...body })
  expect(made.status, JSON.stringify(made.body)).toBe(201)
  return made.body.cells[0].lotId
}

describe('fitting a cell', () => {
  it('writes best-before and capacity into the facts, and so the next change', async () => {
    const watchId = await addWatch(house, 'F-1', calibre)
    const lotId = await issued(watchId)
    const made = await bench().post('/v1/cell-fittings', { watchId, cells: [{ lotId, pieces: 1 }] })
    expect(made.status, JSON.stringify(made.body)).toBe(201)
    expect(made.body.grades).toEqual(['full-life'])
    expect(cellDue(made.body)).toMatchObject({ rule: 'usual', dueOn: '2028-12-01', standing: 'not-yet' })
    const { rows } = await house.database.pool.query(
      'select event, happened, best_before, capacity_mah::float8 as mah, source from watch_event where id = $1',
      [made.body.eventId],
    )
    expect(rows).toEqual([
      { event: 'cell-fitted', happened: '2026-12-01', best_before: '2029-04-30', mah: 28, source: 'own-record' },
    ])
    expect(await lotNow(house, lotId)).toMatchObject({ bench: 0 })
  })

  it('promises no more than the measured consumption leaves: 28 mAh at 1.9 µA is 18 months', async () => {
    const watchId = await addWatch(house, 'F-2', calibre)
    const lotId = await issued(watchId)
    const made = await bench().post('/v1/cell-fittings', {
      watchId,
      cells: [{ lotId, pieces: 1 }],
      consumptionMicroamps: 1.9,
    })
    expect(made.body.lifeMonths).toBe(18)
    expect(cellDue(made.body)).toMatchObject({ rule: 'consumption', dueOn: '2028-06-01' })
  })

  it('and the dates are one transaction: the entry and the fact carry one transaction id', async () => {
    const { rows } = await house.database.pool.query(
      `select e.xmin::text = v.xmin::text as together, e.xmin::text = o.xmin::text as reckoned
       from stock_entry e join watch_event v on v.id = e.event_id join obligation o on o.watch_id = e.watch_id and o.kind = 'cell-change'`,
    )
    expect(rows.length).toBeGreaterThanOrEqual(2)
    expect(rows.every((row) => row.together && row.reckoned)).toBe(true)
  })

  it('of more cells on the same day stays one fact, with the earliest best-before and the smallest capacity', async () => {
    await addDesignation(house, 'SR521SW')
    const small = await receive(house, 'SR521SW', 'small', 5, '2029-08-31', { capacityMah: 16 })
    const double = await addCalibre(house, 'Q 20', 'SR521SW', 2)
    const watchId = await addWatch(house, 'F-3', double)
    await issued(watchId)
    const first = await bench().post('/v1/cell-fittings', { watchId, cells: [{ lotId: small, pieces: 1 }] })
    const second = await bench().post('/v1/cell-fittings', { watchId, cells: [{ lotId: small, pieces: 1 }] })
    expect(second.status, JSON.stringify(second.body)).toBe(201)
    expect(second.body.eventId).not.toBe(first.body.eventId)
    const { rows } = await house.database.pool.query(
      `select best_before, capacity_mah::float8 as mah from watch_event v where watch_id = $1 and event = 'cell-fitted'
         and not exists (select from strike s where s.fact_id = v.id)`,
      [watchId],
    )
    expect(rows).toEqual([{ best_before: '2029-08-31', mah: 16 }])
    const struck = await bench().post(`/v1/fittings/${second.body.eventId}/strike`, { reason: 'wrong watch' })
    expect(struck.status, JSON.stringify(struck.body)).toBe(201)
    expect(await lotNow(house, small)).toMatchObject({ shelf: 3, bench: 2 })
  })

  it('struck takes the fact and the entries back together', async () => {
    const watchId = await addWatch(house, 'F-4', calibre)
    const lotId = await issued(watchId)
    const fitted = await bench().post('/v1/cell-fittings', { watchId, cells: [{ lotId, pieces: 1 }] })
    const alone = await house
      .as('stock')
      .post(`/v1/stock-entries/${fitted.body.entryIds[0]}/strike`, { reason: 'mistake' })
    expect(alone.body.type).toBe('/problems/strike-the-fitting')
    const { bench: before } = await lotNow(house, lotId)
    const struck = await bench().post(`/v1/fittings/${fitted.body.eventId}/strike`, { reason: 'never fitted' })
    expect(struck.status).toBe(201)
    expect(cellDue(struck.body)).toMatchObject({ rule: 'unknown-base' })
    expect((await lotNow(house, lotId)).bench).toBe(before + 1)
    expect((await bench().post(`/v1/fittings/${fitted.body.eventId}/strike`, { reason: 'again' })).status).toBe(404)
  })

  it('grades afresh on the day of fitting, and short life needs the manager', async () => {
    const watchId = await addWatch(house, 'F-5', calibre)
    const lotId = await issued(watchId)
    expect(lotId).toBe(lots.B)
    house.setNow('2027-02-01')
    const before = await everything(house)
    const late = await bench().post('/v1/cell-fittings', { watchId, cells: [{ lotId, pieces: 1 }] })
    expect(late.body).toMatchObject({
      type: '/problems/short-life-unsigned',
      bestBefore: '2029-04-30',
      nextChangeOn: '2029-02-01',
    })
    expect(await everything(house)).toBe(before)
    const signed = await house.as('manager').post('/v1/cell-fittings', {
      watchId,
      cells: [{ lotId, pieces: 1 }],
      shortLife: { ownerTold: true, note: 'told, half price' },
    })
    expect([signed.status, signed.body.grades]).toEqual([201, ['short-life']])
    house.setNow('2026-12-01')
  })

  it('a cell issued with the short-life signature may be fitted by the bench', async () => {
    await addDesignation(house, 'SR916SW')
    await receive(house, 'SR916SW', 'short', 3, '2028-05-31')
    const watchId = await addWatch(house, 'F-6', await addCalibre(house, 'Q 16', 'SR916SW'))
    const lotId = await issued(watchId, { shortLife: { ownerTold: true, note: 'told' } }, 'manager')
    const made = await bench().post('/v1/cell-fittings', { watchId, cells: [{ lotId, pieces: 1 }] })
    expect(made.body.grades).toEqual(['short-life'])
    expect(cellDue(made.body)).toMatchObject({ rule: 'best-before', dueOn: '2028-05-31' })
  })

  test.each([
    ['before the receipt of the lot', { on: '2026-05-31' }, 409, '/problems/entry-before-receipt'],
    ['tomorrow', { on: '2026-12-02' }, 400, '/problems/fact-in-future'],
    ['with more than is out at the bench', { cells: [{ pieces: 5 }] }, 409, '/problems/stock-below-zero'],
    ['on a day before the cell was issued', { on: '2026-11-20' }, 409, '/problems/stock-below-zero'],
    ['into a watch that is not there', { watchId: '00000000-0000-7000-8000-00000000000f' }, 404, '/problems/not-found'],
  ])(
    'is refused %s, and nothing is written',
    async (name, more: { cells?: object[]; on?: string; watchId?: string }, status, type) => {
      const watchId = await addWatch(house, `G-${name.length}`, calibre)
      const lotId = await issued(watchId)
      const before = await everything(house)
      const cells = [{ lotId, pieces: 1, ...more.cells?.[0] }]
      const refused = await bench().post('/v1/cell-fittings', { watchId, ...more, cells })
      expect([refused.status, refused.body.type], JSON.stringify(refused.body)).toEqual([status, type])
      expect(await everything(house)).toBe(before)
    },
  )

  it('is refused from a blocked lot and from a designation that does not fit', async () => {
    const watchId = await addWatch(house, 'F-7', calibre)
    const lotId = await issued(watchId)
    await house.as('stock').post(`/v1/cell-lots/${lotId}/blocks`, { reason: 'other' })
    const blocked = await bench().post('/v1/cell-fittings', { watchId, cells: [{ lotId, pieces: 1 }] })
    expect(blocked.body.type).toBe('/problems/lot-blocked')
    await house.as('manager').post(`/v1/cell-lots/${lotId}/releases`, { note: 'mistaken' })
    const stranger = await addWatch(house, 'F-8', await addCalibre(house, 'Q 30', 'SR41SW'))
    const misfit = await bench().post('/v1/cell-fittings', { watchId: stranger, cells: [{ lotId, pieces: 1 }] })
    expect(misfit.body).toMatchObject({ type: '/problems/designation-does-not-fit', wanted: 'SR66SW', fits: 'SR41SW' })
  })
})

describe('gaskets', () => {
  let kindId: string
  let watchId: string
  const lot = (cureQuarter: string, more: object = {}) =>
    house.as('stock').post('/v1/gasket-lots', {
      kindId,
      cureQuarter,
      supplier: 'Seal House',
      receivedOn: '2026-01-10',
      pieces: 4,
      unitCost: eur(450),
      storagePlace: `g ${Math.random()}`,
      ...more,
    })
  const take = (pieces = 1) => house.as('bench').post('/v1/gasket-issues', { kindId, pieces, watchId })

  beforeAll(async () => {
    const kind = await house
      .as('stock')
      .post('/v1/gasket-kinds', { name: 'crown 2.0 × 0.5 NBR', innerMm: 2, cordMm: 0.5, material: 'NBR' })
    expect(kind.body).toMatchObject({ group: 'B' })
    kindId = kind.body.id
    watchId = await addWatch(house, 'S-1', calibre, { waterClaim: { marked: 'rated', bar: 10 } })
  })

  it('past their storage life are neither issued nor fitted; one extension by inspection makes them good again', async () => {
    const old = (await lot('3Q2019')).body
    expect(old).toMatchObject({ storageEnd: '2026-09-30', mayBeFitted: false, extendedEnd: '2029-09-30' })
    expect((await take()).body).toMatchObject({ type: '/problems/stock-short', tooOld: 4 })
    const inspect = (body: object) =>
      house.as('bench').post(`/v1/gasket-lots/${old.id}/inspections`, {
        purpose: 'extension',
        passed: true,
        finding: 'supple, no cracks',
        ...body,
      })
    expect((await inspect({})).body).toMatchObject({ storageEnd: '2029-09-30', mayBeFitted: true, extended: true })
    expect((await inspect({})).body.type).toBe('/problems/gasket-not-extended')
    const taken = await take()
    expect(taken.body.gaskets).toMatchObject([{ lotId: old.id, storageEnd: '2029-09-30' }])
    const fitted = await bench().post('/v1/gasket-fittings', {
      watchId,
      gaskets: [{ lotId: old.id, pieces: 1, position: 'crown' }],
    })
    expect(fitted.status, JSON.stringify(fitted.body)).toBe(201)
    const { rows } = await house.database.pool.query(`select event, happened, note from watch_event where id = $1`, [
      fitted.body.eventId,
    ])
    expect(rows).toEqual([{ event: 'seals-replaced', happened: '2026-12-01', note: 'crown' }])
    house.setNow('2029-09-30')
    expect((await take()).status).toBe(201)
    house.setNow('2029-10-01')
    const late = await bench().post('/v1/gasket-fittings', {
      watchId,
      gaskets: [{ lotId: old.id, pieces: 1, position: 'crown' }],
    })
    expect(late.body).toMatchObject({ type: '/problems/gasket-past-storage-life', storageEnd: '2029-09-30' })
    house.setNow('2026-12-01')
    await house.as('stock').post(`/v1/gasket-lots/${old.id}/write-offs`, { pieces: 2, reason: 'example done' })
  })

  it('go first to expire first, by cure and not by receipt', async () => {
    const younger = (await lot('2Q2021', { receivedOn: '2026-01-05' })).body
    const older = (await lot('1Q2021', { receivedOn: '2026-02-05' })).body
    expect([younger.storageEnd, older.storageEnd]).toEqual(['2028-06-30', '2028-03-31'])
    expect((await take()).body.gaskets[0].lotId).toBe(older.id)
  })

  it('stored hot are blocked until a recorded inspection, and no date moves', async () => {
    const hot = (await lot('4Q2022', { maxCelsius: 31 })).body
    expect(hot).toMatchObject({ blocked: 'stored-hot', mayBeFitted: false })
    expect((await house.as('manager').post(`/v1/gasket-lots/${hot.id}/releases`, { note: 'fine' })).body.type).toBe(
      '/problems/gasket-needs-inspection',
    )
    const released = await house
      .as('bench')
      .post(`/v1/gasket-lots/${hot.id}/inspections`, { purpose: 'release', passed: true, finding: 'supple' })
    expect(released.body).toMatchObject({ blocked: null, storageEnd: hot.storageEnd, extended: false })
  })

  test.each([
    ['without a quarter of cure', { cureQuarter: undefined }, '#/cureQuarter'],
    ['with a quarter that there is not', { cureQuarter: '5Q2020' }, '#/cureQuarter'],
    ['cured after the receipt', { cureQuarter: '2Q2026' }, '#/cureQuarter'],
    ['with an end that somebody typed', { storageEnd: '2035-01-01' }, '#/storageEnd'],
  ])('are refused %s', async (_, more, pointer) => {
    const before = await everything(house)
    const refused = await lot('1Q2021', more)
    expect([refused.status, refused.body.errors[0].pointer]).toEqual([400, pointer])
    expect(await everything(house)).toBe(before)
  })

  it('of lead are no kind to be fitted new', async () => {
    const lead = await house
      .as('stock')
      .post('/v1/gasket-kinds', { name: 'old back', profile: 'flat', material: 'lead' })
    expect(lead.body.type).toBe('/problems/gasket-not-fitted-new')
  })
})

it('a watch is given no more cells at once than it takes', async () => {
  await receive(house, 'SR626SW', 'MANY', 20, '2029-11-30')
  const watchId = await addWatch(house, 'M-1', calibre)
  await house
    .as('bench')
    .post('/v1/cell-issues', { watchId, wants: [{ designation: 'SR626SW', pieces: 2 }] })
    .expect(201)
  const out = (
    await house.database.pool.query(`select lot_id from stock_entry where watch_id = $1 and kind = 'issued'`, [watchId])
  ).rows[0].lot_id
  const made = await bench().post('/v1/cell-fittings', { watchId, cells: [{ lotId: out, pieces: 2 }] })
  expect([made.status, made.body.errors[0]]).toEqual([400, { pointer: '#/cells', detail: 'are 2; this watch takes 1' }])
})

describe('other traceable parts', () => {
  it('go by the same ledger', async () => {
    const part = await house.as('stock').post('/v1/parts', { name: 'crown 3.5 steel', partKind: 'crown' })
    const lot = await house.as('stock').post('/v1/part-lots', {
      partId: part.body.id,
      supplier: 'Harbour Parts',
      pieces: 3,
      unitCost: eur(700),
      storagePlace: 'parts 1',
    })
    expect(lot.body).toMatchObject({ shelf: 3, goodThrough: null })
    const watchId = await addWatch(house, 'P-1', calibre)
    const taken = await house.as('bench').post('/v1/part-issues', { partId: part.body.id, pieces: 1, watchId })
    expect(taken.body.parts).toMatchObject([{ lotId: lot.body.id, pieces: 1 }])
    const fitted = await bench().post('/v1/part-fittings', { lotId: lot.body.id, pieces: 1, watchId })
    expect(fitted.status).toBe(201)
    expect(await lotNow(house, lot.body.id, 'part-lots')).toMatchObject({ shelf: 2, bench: 0 })
    expect((await bench().post('/v1/part-fittings', { lotId: lot.body.id, pieces: 1, watchId })).body.type).toBe(
      '/problems/stock-below-zero',
    )
  })

  it('an opened oil has two years, by the house rule, and never more than its pack says (common practice, no source)', async () => {
    const part = await house.as('stock').post('/v1/parts', { name: 'pallet oil', partKind: 'oil' })
    const opened = async (name: string, useBy?: string) => {
      const lot = await house.as('stock').post('/v1/part-lots', {
        partId: part.body.id,
        supplier: 'Harbour Parts',
        pieces: 1,
        unitCost: eur(2500),
        storagePlace: name,
        ...(useBy && { useBy }),
      })
      const open = { opened: 'marked' }
      const { etag } = (await house.as('stock').get(`/v1/part-lots/${lot.body.id}`).expect(200)).headers
      const { body } = await house.as('stock').patch(`/v1/part-lots/${lot.body.id}`, open, String(etag)).expect(200)
      return [lot.body.goodThrough, body.goodThrough]
    }
    expect(await opened('oil 1')).toEqual([null, '2028-12-01'])
    expect(await opened('oil 2', '2027-05-31')).toEqual(['2027-05-31', '2027-05-31'])
    await house
      .as('manager')
      .post('/v1/house-rules', {
        key: 'openedOilMonths',
        value: 36,
        fromDay: '2026-12-01',
        reason: 'its maker says so',
      })
      .expect(201)
    expect(await opened('oil 3', '2031-05-31')).toEqual(['2031-05-31', '2029-12-01'])
  })

  it('glue taken in its last days is not used after them', async () => {
    const part = await house.as('stock').post('/v1/parts', { name: 'crystal glue', partKind: 'glue' })
    const lot = await house.as('stock').post('/v1/part-lots', {
      partId: part.body.id,
      supplier: 'Harbour Parts',
      pieces: 2,
      unitCost: eur(1200),
      useBy: '2026-12-05',
      storagePlace: 'parts 2',
    })
    const watchId = await addWatch(house, 'P-2', calibre)
    await house.as('bench').post('/v1/part-issues', { partId: part.body.id, pieces: 2, watchId }).expect(201)
    const use = () => bench().post('/v1/part-fittings', { lotId: lot.body.id, pieces: 1, watchId })
    house.setNow('2026-12-06')
    const late = await use()
    expect([late.status, late.body.type, late.body.useBy]).toEqual([409, '/problems/part-past-its-use', '2026-12-05'])
    expect(await lotNow(house, lot.body.id, 'part-lots')).toMatchObject({ bench: 2 })
    house.setNow('2026-12-05')
    expect((await use()).status).toBe(201)
    house.setNow('2026-12-01')
  })
})
