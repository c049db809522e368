import { expect } from 'vitest'
import { type House, openHouse } from '../../support/house.ts'

/** The worked shelf of a silver-oxide designation on 2026-12-01 (common practice, no source), received through the doors. */
export const shelf = [
  { name: 'X', pieces: 6, bestBefore: '2026-10-31' },
  { name: 'E', pieces: 9, bestBefore: '2027-09-30' },
  { name: 'A', pieces: 12, bestBefore: '2028-12-31' },
  { name: 'B', pieces: 30, bestBefore: '2029-04-30' },
  { name: 'C', pieces: 40, bestBefore: '2029-08-31' },
  { name: 'N', pieces: 60, bestBefore: '2029-10-31' },
] as const

/** A house that answers: on a busy machine the first moment after the start is refused as too busy. */
export async function openStock(now = '2026-12-01', env: Record<string, string> = {}): Promise<House> {
  const house = await openHouse({ now, env })
  for (let tries = 0; tries < 2_000; tries++) {
    if ((await house.as('stock').get('/v1/stock-orders')).status === 200) break
  }
  return house
}

export type Lots = Record<string, string>
export const eur = (amount: number) => ({ amount, currency: 'EUR' })

export async function addDesignation(house: House, designation: string, more: object = {}): Promise<string> {
  const made = await house.as('stock').post('/v1/designations', { designation, drain: 'low', ...more })
  expect(made.status, JSON.stringify(made.body)).toBe(201)
  return made.body.id
}

export async function receive(
  house: House,
  designation: string,
  name: string,
  pieces: number,
  bestBefore: string,
  more: object = {},
): Promise<string> {
  const made = await house.as('stock').post('/v1/cell-lots', {
    designation,
    lotNumber: name,
    supplier: 'Harbour Parts',
    receivedOn: '2026-06-01',
    pieces,
    unitCost: eur(92),
    bestBefore,
    storagePlace: `drawer ${designation} ${name} ${bestBefore}`,
    ...more,
  })
  expect(made.status, JSON.stringify(made.body)).toBe(201)
  return made.body.id
}

export async function fillShelf(house: House): Promise<Lots> {
  await addDesignation(house, 'SR626SW', { capacityMah: 28, weightMg: 390, wasteFee: 2 })
  const lots: Lots = {}
  for (const lot of shelf) lots[lot.name] = await receive(house, 'SR626SW', lot.name, lot.pieces, lot.bestBefore)
  return lots
}

export async function addCalibre(
  house: House,
  name: string,
  designation: string | null,
  cells = 1,
  energy = 'primary-cell',
): Promise<string> {
  const body = { name, energy, ...(designation && { cellDesignation: designation, cellCount: cells }) }
  const made = await house.as('bench').post('/v1/calibres', body)
  expect(made.status, JSON.stringify(made.body)).toBe(201)
  return made.body.id
}

export async function addWatch(
  house: House,
  serial: string,
  calibreId: string | null,
  more: object = {},
): Promise<string> {
  const made = await house.as('counter').post('/v1/watches', {
    maker: 'Northmoor',
    model: 'Quay',
    serial,
    kind: 'quartz',
    ...(calibreId && { calibreId }),
    ...more,
  })
  expect(made.status, JSON.stringify(made.body)).toBe(201)
  return made.body.id
}

export async function lotNow(house: House, id: string, path = 'cell-lots') {
  const { body } = await house.as('stock').get(`/v1/${path}/${id}`)
  return body
}

/** All that a refused request must leave as it was. */
export async function everything(house: House) {
  const { rows } = await house.database.pool.query(
    `select (select json_agg(row(l.id, l.shelf, l.bench, l.reserved, l.blocked) order by l.id) from stock_lot l) as lots,
      (select count(*) from stock_entry) as entries, (select count(*) from watch_event) as events, (select count(*) from reservation) as reservations,
      (select count(*) from waste_item) as waste`,
  )
  return JSON.stringify(rows)
}

/** A ticket of a quartz watch of which no calibre is known, so that any designation may be asked for. */
export async function openTicket(house: House): Promise<string> {
  const watchId = await addWatch(house, `T-${Math.random()}`, null)
  const { rows } = await house.database.pool.query(
    `with o as (insert into owner (name, search_name, created_by) values ('Ticket Owner', 'ticket owner', 'test') returning id)
     insert into ticket (number, watch_id, owner_id, brought_by, complaint, booked_on, next_actor, next_by, created_by)
     select $2, $1, o.id, 'owner', 'stopped', '2026-12-01', 'counter', '2026-12-05', 'test' from o returning id`,
    [watchId, `T${Math.random()}`.slice(0, 12)],
  )
  return rows[0].id
}
