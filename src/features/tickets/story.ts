import { createHash } from 'node:crypto'
import type { Db } from '../../db/open.ts'
import { dayOfNumber, isPartialDay, spanOf } from '../../domain/day.ts'
import { Refusal } from '../../domain/refusals.ts'
import { dayAt, instantOf } from '../../http/service.ts'
import { changedIn, editsOf } from './story-edits.ts'
import { type StoryRow, storyRows } from './story-rows.ts'
import { wordsFor } from './story-words.ts'

/** One line of the story of a watch: when it happened, when it was written, what, and who signed. */
export type Entry = {
  /** the instant it happened; where only a day is known, the beginning of that day at the centre, of a month its first day */
  at: string
  /** the day it happened as far as it is known: a day, a month or a year */
  on: string
  /** the instant it was written down */
  learned: string
  /** the centre's day on which it was written down */
  recordedOn: string
  ticket: string | null
  what: string
  words: string
  by: string
  record: string
  struck: string | null
  struckBy: string | null
}

type Placed = { row: StoryRow; at: number; on: string; seq: number; rank: number }

/**
 * Everything on file about a watch in order of the time it happened, from all its tickets and the book: a paper of years
 * ago stands where it belongs and says when it was recorded. `zone` decides which day an instant falls on.
 */
export async function storyOf(db: Db, watchId: string, zone: string) {
  const watch = await db.watch.findUnique({ where: { id: watchId } })
  if (!watch) throw new Refusal('not-found', { what: 'watch', id: watchId })
  const kept = await storyRows(db, watchId)
  const endings = kept.filter((row) => row.source === 'record' && row.kind === 'ended').map((row) => row.learned)
  const rows = [...kept, ...changedIn(await editsOf(db, watchId), watch, endings)]
  // what a ticket told the book happened when the ticket says so
  const told = new Map(
    rows.flatMap((row) =>
      row.source === 'record' ? ((row.data.facts ?? []) as string[]).map((fact) => [fact, row] as const) : [],
    ),
  )
  const placed = rows.map((row, rank): Placed => {
    const teller = row.source === 'book' ? told.get(row.id) : undefined
    const learned = row.learned.getTime()
    if (teller?.at)
      return { row, at: teller.at.getTime(), on: row.on ?? dayAt(teller.at, zone), seq: teller.seq + 0.5, rank }
    if (row.at) return { row, at: row.at.getTime(), on: row.on ?? dayAt(row.at, zone), seq: row.seq, rank }
    const on = row.on ?? dayAt(row.learned, zone)
    return {
      row,
      at: on === dayAt(row.learned, zone) ? learned : beginningOf(on, learned, zone),
      on,
      seq: row.seq,
      rank,
    }
  })
  placed.sort((a, b) => a.at - b.at || a.seq - b.seq || a.rank - b.rank)
  const entries = placed.map(
    ({ row, at, on }): Entry => ({
      at: new Date(at).toISOString(),
      on,
      learned: row.learned.toISOString(),
      recordedOn: dayAt(row.learned, zone),
      ticket: row.number,
      what: row.kind,
      words: wordsFor(row.kind, row.data),
      by: row.by,
      record: row.id,
      struck: row.struck,
      struckBy: row.struckBy,
    }),
  )
  return {
    watchId,
    watch: [watch.maker, watch.model, watch.reference].filter((part) => part !== null).join(' '),
    serial: watch.serial,
    kind: watch.kind,
    zone,
    entries,
    cautions: entries.some(tellsOfTest) ? [waterCaution] : [],
    fingerprint: fingerprintOf(entries),
  }
}

const waterCaution =
  'Water resistance was tested on the dates and at the pressures shown. It is not permanent; seals age, and heat, soap, blows and opening the case shorten it.'
/** Where no test is told of, nothing is said of tests. */
const tellsOfTest = ({ what, words, struck }: Entry): boolean =>
  struck === null && (what === 'water-test' || (what === 'fact' && words.startsWith('in the book: water test')))

const beginningOf = (partial: string, otherwise: number, zone: string): number =>
  isPartialDay(partial) ? instantOf(dayOfNumber(spanOf(partial).first), '00:00', zone).getTime() : otherwise

export type Story = Awaited<ReturnType<typeof storyOf>>

/** SHA-256 over each entry chained to the one before: a later change of any line changes the last value. */
export function fingerprintOf(entries: readonly Entry[]): string {
  let chain = ''
  for (const entry of entries) {
    const { at, on, recordedOn, ticket, what, words, by, record, struck, struckBy } = entry
    chain = createHash('sha256')
      .update(`${chain}\n${JSON.stringify([at, on, recordedOn, ticket, what, words, by, record, struck, struckBy])}`)
      .digest('hex')
  }
  return chain
}
