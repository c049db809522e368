import { type HouseTable, tableFrom } from '../house-tables.ts'
import {
  type HouseClass,
  type HouseClassLimits,
  houseClassTable,
  type ReadingQueries,
  readingQueryTable,
} from '../readings/limits.ts'
import { type ToolMonths, toolMonthsTable } from '../readings/tools.ts'
import { classReadingTable, type ReadingsByClass } from './classes.ts'
import { type SettlingHours, settlingHoursTable } from './promise.ts'
import { type SharedPlaces, sharedPlacesTable } from './shared-places.ts'

/** The tables of the tickets that a centre may change from a day on. */
export const ticketTables = {
  toleranceByHouseClass: houseClassTable,
  readingsByClassOfWork: classReadingTable,
  readingsAskedAgain: readingQueryTable,
  toolMonths: toolMonthsTable,
  settlingHours: settlingHoursTable,
  sharedPlaces: sharedPlacesTable,
} as const satisfies Record<string, HouseTable<never> | HouseTable<unknown>>

export type TicketTables = {
  readonly toleranceByHouseClass: HouseClassLimits
  readonly readingsByClassOfWork: ReadingsByClass
  readonly readingsAskedAgain: ReadingQueries
  readonly toolMonths: ToolMonths
  readonly settlingHours: SettlingHours
  readonly sharedPlaces: SharedPlaces
}

/** The tables of a day, from the values stored for it; what the house never changed has its first value. */
export const readTicketTables = (stored: Readonly<Record<string, unknown>>): TicketTables => ({
  toleranceByHouseClass: tableFrom(houseClassTable, stored.toleranceByHouseClass),
  readingsByClassOfWork: tableFrom(classReadingTable, stored.readingsByClassOfWork),
  readingsAskedAgain: tableFrom(readingQueryTable, stored.readingsAskedAgain),
  toolMonths: tableFrom(toolMonthsTable, stored.toolMonths),
  settlingHours: tableFrom(settlingHoursTable, stored.settlingHours),
  sharedPlaces: tableFrom(sharedPlacesTable, stored.sharedPlaces),
})

/** The house table a reading was judged by: kept with the reading, so that a later table changes nothing of it. */
export type JudgedBy = {
  readonly houseClass: HouseClass
  /** the day from which that table held; null for the first one */
  readonly fromDay: string | null
  readonly limits: HouseClassLimits[HouseClass]
}
