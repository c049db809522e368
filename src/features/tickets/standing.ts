import { type Day, numberOfDay } from '../../domain/day.ts'
import { nameKey } from '../../domain/searching.ts'
import type { Snapshot } from '../../domain/tickets/snapshot.ts'
import type { RecordRow, Rows } from './reading.ts'

/** However it is typed: capitals, accents and dots tell no two people apart. */
export const nameOf = (text: string): string => nameKey(text) || text.trim()

/** Everybody with an operation, opening, fitting or test, by name and last day; a struck one counts, since hands were on the watch. */
export function workersOf(rows: Rows, strays: NonNullable<Rows['opened']>): ReadonlyMap<string, Day> {
  const workers = new Map<string, Day>()
  for (const { name, on } of [...(rows.workers ?? []), ...strays.map((fact) => ({ name: fact.by, on: fact.on }))]) {
    const key = nameOf(name)
    const before = workers.get(key)
    if (before === undefined || numberOfDay(before) < numberOfDay(on as Day)) workers.set(key, on as Day)
  }
  return workers
}

/** Somebody who did work on a ticket, with whichever key: it is the person who must be another. */
export const isWorker = ({ workers }: Pick<Snapshot, 'workers'>, name: string): boolean => workers.has(nameOf(name))

/** The records that stand; a test whose fact came back, when the opening after it was struck, has that fact too. */
export function recordsOf(rows: Rows): readonly RecordRow[] {
  const restored = (rows.strikes ?? []).flatMap((strike) => strike.restored)
  return (rows.records ?? []).map((record) => {
    const more = restored.flatMap((one) => (one.record === record.id ? [one.fact] : []))
    const facts = (record.data.facts as string[] | undefined) ?? []
    return more.length === 0 ? record : { ...record, data: { ...record.data, facts: [...facts, ...more] } }
  })
}

/** A fact, and those in whose place it stands. */
export function saidBefore({ replaced }: Rows, factId: string): string[] {
  const ids = [factId]
  for (let id = replaced?.[factId]; id !== undefined && !ids.includes(id); id = replaced?.[id]) ids.push(id)
  return ids
}

/** What stands in the place of a fact: itself, or the last that replaced it. */
export function nowSaid({ replaced }: Rows, factId: string): string {
  const by = new Map(Object.entries(replaced ?? {}).map(([now, before]) => [before, now]))
  let id = factId
  for (let next = by.get(id); next !== undefined; next = by.get(id)) id = next
  return id
}
