import { type Db, dayFrom } from '../../db/open.ts'
import type { StoryRow } from './story-rows.ts'

type Watch = Record<string, unknown>
type Edit = {
  id: string
  before: unknown
  reason: string | null
  editedOn: Date
  recordedAt: Date
  recordedBy: string
}

export const editsOf = (db: Db, watchId: string): Promise<Edit[]> =>
  db.edit.findMany({ where: { record: 'watch', recordId: watchId }, orderBy: [{ version: 'asc' }, { id: 'asc' }] })

// what moves by itself, or is told by a line of its own
const silent = new Set([
  ...['version', 'inHouse', 'ownerId', 'ownerKnownOn', 'searchSerial', 'createdAt', 'createdBy'],
  ...['declaredValue', 'declaredCurrency', 'declaredOn'],
])
const ofTheEnd = new Set(['state', 'stateSince'])

const shown = (value: unknown): string =>
  value === null || value === undefined || value === ''
    ? 'nothing'
    : Array.isArray(value)
      ? value.length === 0
        ? 'nothing'
        : value.join(', ')
      : `"${/^\d{4}-\d\d-\d\dT00:00:00/.test(String(value)) ? String(value).slice(0, 10) : String(value)}"`

const named = (key: string): string => key.replace(/[A-Z]/g, (letter) => ` ${letter.toLowerCase()}`)

/**
 * What each edit of a watch changed: each field as it was, and as the next edit found it or as it stands now. A ticket that
 * ended otherwise than by a hand-over changes the state of its watch too, and says so itself.
 */
export function changedIn(edits: readonly Edit[], now: object, endings: readonly Date[]): StoryRow[] {
  const states = [...edits.map((edit) => edit.before as Watch), JSON.parse(JSON.stringify(now, plainly)) as Watch]
  return edits.flatMap((edit, i): StoryRow[] => {
    const [before, after] = [states[i] ?? {}, states[i + 1] ?? {}]
    const next = edits[i + 1]?.recordedAt
    const ended = endings.some((at) => at > edit.recordedAt && (next === undefined || at <= next))
    const emptied = Object.keys(before).length === 0
    const changes = Object.keys(after)

      .filter((key) => !silent.has(key) && !(ended && ofTheEnd.has(key)))
      .filter((key) => JSON.stringify(before[key] ?? null) !== JSON.stringify(after[key] ?? null))
      .map((key) => `${named(key)} from ${shown(before[key])} to ${shown(after[key])}`)
    return [
      {
        source: 'book',
        at: null,
        on: dayFrom(edit.editedOn),
        learned: edit.recordedAt,
        number: null,
        kind: 'edit',
        data: {
          changes: emptied
            ? 'what it said before is no longer on file'
            : changes.length === 0
              ? 'nothing'
              : changes.join('; '),
          reason: edit.reason,
        },
        by: edit.recordedBy,
        id: edit.id,
        seq: 0,
        struck: null,
        struckBy: null,
      },
    ]
  })
}

const plainly = (_key: string, value: unknown) => (typeof value === 'bigint' ? Number(value) : value)
