/** The numbers of the stock that a centre may change from a day on; the defaults are common practice, no source. */
import { type HouseRuleTable, rule } from '../house-rules.ts'
import { type HouseTable, numbers } from '../house-tables.ts'
import { type Chemistry, chemistries } from './sizes.ts'

export const stockRuleTable = {
  cellGuardMonths: rule(3, 0, 24, 'months', 'Life kept back in a cell for an owner who comes late'),
  shortestCellMonths: rule(12, 1, 60, 'months', 'The shortest life of a cell that is handed over at all'),
  ageingMonths: rule(24, 1, 240, 'months', 'The interval a designation ages by where it has none of its own'),
  cellShelfMonths: rule(36, 1, 240, 'months', 'Shelf life from manufacture where a pack shows no best-before'),
  hottestCellCelsius: rule(30, 0, 60, 'degrees Celsius', 'Cells stored hotter than this are blocked'),
  hottestGasketCelsius: rule(25, 0, 60, 'degrees Celsius', 'Gaskets stored hotter than this for long are blocked'),
  comesComingUpPercent: rule(35, 0, 100, 'percent', 'Share of watches that come while coming up, until measured'),
  comesDuePercent: rule(25, 0, 100, 'percent', 'Share of watches that come while due, until measured'),
  comesOverduePercent: rule(10, 0, 100, 'percent', 'Share of watches that come while overdue, until measured'),
  comesAskedEnoughPercent: rule(5, 0, 100, 'percent', 'Share of watches that come when asked enough, until measured'),
  fewestCycles: rule(30, 1, 1000, 'cycles', 'Letter cycles from which a measured share is believed'),
  supplierLeadWeeks: rule(3, 1, 52, 'weeks', 'Weeks from order to arrival where a designation has none of its own'),
  stockServicePercent: rule(95, 50, 99, 'percent', 'Chance that the shelf lasts through the lead time'),
  stockServiceThousandths: rule(1645, 0, 4000, 'thousandths', 'Normal quantile of that chance'),
  slowMoverPieces: rule(5, 0, 1000, 'pieces', 'Below this demand in the lead time the Poisson rule holds'),
  missingCellCost: rule(500, 1, 1_000_000, 'minor units', 'What one cell too few costs: the change that is not made'),
  cellWasteFee: rule(
    2,
    0,
    10_000,
    'minor units',
    'Waste fee of one piece where neither its designation nor the table of its chemistry has one',
  ),
  openedOilMonths: rule(24, 1, 120, 'months', 'An opened oil or grease is used within this long'),
  lotLeadDays: rule(60, 0, 730, 'days', 'The stock keeper is told of a lot this long before its last day of fitting'),
} as const satisfies HouseRuleTable

export type StockRuleKey = keyof typeof stockRuleTable
export type StockRules = Readonly<Record<StockRuleKey, number>>

export type WasteFees = Readonly<Partial<Record<Chemistry, number>>>
const fee = { min: 0, max: 10_000, unit: 'minor units', whole: true }

export const wasteFeeTable: HouseTable<WasteFees> = {
  default: {},
  shape: `{ chemistry: whole minor units from 0 to 10000 }; chemistries: ${chemistries.join(', ')}`,
  words:
    'Waste fee of one piece by chemistry; a designation may have its own, what is left out has the fee of every cell',
  source: 'what the collector of the place asks; none until it is entered',
  read: numbers({}, Object.fromEntries(chemistries.map((chemistry) => [chemistry, fee]))),
}

/** The fee of one piece in minor units: of its designation, else of its chemistry, else of every cell. */
export const wasteFeeOf = (
  item: { readonly wasteFee: number | null; readonly chemistry: string | null },
  fees: WasteFees,
  rules: StockRules,
): number => item.wasteFee ?? fees[item.chemistry as Chemistry] ?? rules.cellWasteFee
