import type { Day, PartialDay } from '../../src/domain/day.ts'
import { addDays } from '../../src/domain/day.ts'
import { receiveCells } from '../../src/features/cell-lots/cell-lots.ts'
import { sellLoose } from '../../src/features/cell-lots/issue.ts'
import { addDesignation } from '../../src/features/designations/designations.ts'
import { addGasketKind, receiveGaskets } from '../../src/features/gasket-lots/gasket-lots.ts'
import { openRecall } from '../../src/features/recalls/recalls.ts'
import { run as flagLots } from '../../src/jobs/flag-lots.ts'
import { count, doing, type Step } from './step.ts'

type InventedLot = { lot: string; received: Day; bestBefore: string; pieces: number; cost: number; blocked?: string }

const lot = (lot: string, received: string, bestBefore: string, pieces: number, cost: number, blocked?: string) =>
  ({ lot, received: received as Day, bestBefore, pieces, cost, ...(blocked && { blocked }) }) satisfies InventedLot

const SUPPLIER = 'Cellarman & Daughters'

/** One designation of each shape a drawer falls into: fresh and deep, old and full, a bargain that was none, a recall. */
const drawers = [
  {
    designation: 'SR626SW',
    drain: 'low',
    capacityMah: 28,
    weightMg: 390,
    lots: [
      lot('6A114', '2024-02-12', '2026-10', 6, 88),
      lot('6C207', '2024-09-02', '2027-09', 9, 90),
      lot('6F031', '2025-12-01', '2028-12', 12, 92),
      lot('6H118', '2026-04-20', '2029-04', 30, 92),
      lot('6J402', '2026-08-17', '2029-08', 40, 92),
      lot('6K009', '2026-10-26', '2029-10', 60, 92),
    ],
  },
  {
    designation: 'SR621SW',
    drain: 'low',
    capacityMah: 23,
    weightMg: 320,
    lots: [
      lot('2B410', '2025-11-10', '2028-11', 18, 95),
      lot('2E077', '2026-06-08', '2029-05-31', 45, 95),
      lot('2G155', '2026-10-12', '2029-09', 30, 97, 'supplier’s letter of 2026-11-20: some leak'),
    ],
  },
  {
    designation: 'SR920SW',
    drain: 'low',
    capacityMah: 45,
    weightMg: 610,
    lots: [lot('9D301', '2026-02-02', '2029-01', 25, 120), lot('9F220', '2026-09-14', '2029-09', 25, 122)],
  },
  {
    designation: 'SR927W',
    drain: 'high',
    capacityMah: 55,
    weightMg: 730,
    lots: [lot('7A018', '2025-03-03', '2027-12', 40, 60), lot('7C512', '2026-11-02', '2029-11', 10, 128)],
  },
  {
    designation: 'CR2016',
    drain: 'high',
    capacityMah: 90,
    weightMg: 1800,
    lots: [lot('C1677', '2026-05-11', '2031-05', 15, 140)],
  },
] as const

const gaskets = [
  { name: 'Case back 30.0 × 0.8', innerMm: 30, cordMm: 0.8, material: 'NBR', cures: ['3Q2019', '2Q2025'] },
  { name: 'Crown 2.0 × 0.9', innerMm: 2, cordMm: 0.9, material: 'FKM', cures: ['1Q2018', '4Q2025'] },
] as const

/** What lies in the drawers: cells and gaskets of every age, a year of sales over the counter, and tonight's flags. */
export const stock: Step = {
  name: 'The drawers of cells and gaskets',
  run: async (demo, say) => {
    const currency = demo.service.config.centre.currency
    let lots = 0
    for (const { lots: received, ...designation } of drawers) {
      await doing(demo, (act) => addDesignation(act, designation))
      for (const one of received) {
        await doing(
          demo,
          (act) =>
            receiveCells(
              act,
              {
                designation: designation.designation,
                lotNumber: one.lot,
                supplier: SUPPLIER,
                pieces: one.pieces,
                unitCost: { amount: one.cost, currency },
                bestBefore: one.bestBefore as PartialDay,
                storagePlace: `drawer ${one.lot}`,
                pack: 'sealed',
              },
              currency,
            ),
          one.received,
        )
        lots += 1
        if ('blocked' in one && one.blocked) {
          await doing(demo, (act) =>
            openRecall(act, {
              designation: designation.designation,
              supplier: SUPPLIER,
              lotNumber: one.lot,
              reason: one.blocked as string,
            }),
          )
        }
        say(`${lots} lots`)
      }
    }
    // two a fortnight over the counter, from whatever lot was to go first that day
    let sold = 0
    for (let day = addDays(demo.today, -210); day < demo.today; day = addDays(day, 14)) {
      await doing(demo, (act) => sellLoose(act, { designation: 'SR626SW', pieces: 1 }), day).catch(noneFit)
      await doing(demo, (act) => sellLoose(act, { designation: 'SR621SW', pieces: 1 }), day).catch(noneFit)
      sold += 2
    }
    for (const { cures, ...kind } of gaskets) {
      const made = await doing(demo, (act) => addGasketKind(act, kind))
      const { id } = made.body as { id: string }
      for (const cureQuarter of cures)
        await doing(demo, (act) =>
          receiveGaskets(
            act,
            {
              kindId: id,
              cureQuarter,
              supplier: 'Ringwright',
              pieces: 20,
              unitCost: { amount: 45, currency },
              storagePlace: `gasket drawer ${cureQuarter} ${kind.material}`,
            },
            currency,
          ),
        )
    }
    const flagged = await flagLots({ db: demo.service.database, today: demo.today, currency })
    return `${lots} cell lots, ${gaskets.length * 2} gasket lots, up to ${count(sold)} loose sales; ${flagged.lots} lots flagged for the manager`
  },
  tries: async ({ service }) => [
    {
      words: 'The manager asks how the cells in the drawers age',
      role: 'manager',
      method: 'GET',
      path: '/v1/reports/cell-ageing',
    },
    {
      words: 'A supplier has called back a lot: what lies where, and whether the pieces add up',
      role: 'manager',
      method: 'GET',
      path: `/v1/recalls/${(await service.database.prisma.recall.findFirstOrThrow()).id}`,
    },
  ],
}

/** No lot was of full life on that day: nobody was sold a cell. */
function noneFit(error: { code?: string }): void {
  if (error.code === undefined) throw error
}
