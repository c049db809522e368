import { addDays, type Day } from '../../../src/domain/day.ts'
import { defaultHouseRules } from '../../../src/domain/house-rules.ts'
import { type CycleBefore, cycleOf } from '../../../src/domain/notices/cycles.ts'
import { decideLetters } from '../../../src/domain/notices/decide.ts'
import { defaultNoticeRules, type NoticeSetting } from '../../../src/domain/notices/notice-rules.ts'
import { heldForDoubtAlone } from '../../../src/domain/notices/sift.ts'
import type {
  BookedStage,
  Decision,
  DuePart,
  LetterPlan,
  ObligationState,
  OwnerState,
  WatchState,
  WithheldItem,
} from '../../../src/domain/notices/types.ts'
import { kindsInDoubt } from '../../../src/domain/reckoning/doubts.ts'
import type { Facts } from '../../../src/domain/reckoning/facts.ts'
import { reckonAndKeep } from '../../../src/domain/reckoning/reckon.ts'
import { letterDaysOf } from '../../../src/domain/reckoning/windows.ts'

/** A whole centre in memory, run night by night: the decisions over the real reckoning, without a database. */
export interface OwnerOnFile extends Partial<Omit<OwnerState, 'watches' | 'reminderDays'>> {
  readonly id: string
  mergedInto?: string
}

export interface WatchOnFile {
  readonly id: string
  ownerId: string
  facts: Facts
  state?: string
  inHouse?: boolean
  doubtfulPair?: boolean
  keepDry?: boolean
  doubtful?: boolean
  call?: 'open' | 'done'
  declined?: Partial<Record<string, Day>>
  appointmentOn?: Day | null
  returned?: boolean
  before?: Map<string, CycleBefore>
}

interface BookedRow extends BookedStage {
  readonly ownerId: string
  readonly watchId: string
  readonly kind: string
  readonly cycle: string
}

export interface Centre {
  readonly owners: OwnerOnFile[]
  readonly watches: WatchOnFile[]
  setting: NoticeSetting
  rules: typeof defaultHouseRules
  readonly booked: BookedRow[]
  readonly withheld: (WithheldItem & { runOn: Day })[]
  readonly withheldOnce: Set<string>
  /** first night of a hold for doubt alone, by watch, kind and cycle */
  readonly holds: Map<string, Day>
  readonly keys: Set<string>
  readonly letters: LetterPlan[]
}

export const day = (text: string): Day => text as Day

export const centre = (owners: OwnerOnFile[], watches: WatchOnFile[]): Centre => ({
  owners,
  watches,
  setting: { rules: defaultNoticeRules, notAsked: 'write' },
  rules: defaultHouseRules,
  booked: [],
  withheld: [],
  withheldOnce: new Set(),
  holds: new Map(),
  keys: new Set(),
  letters: [],
})

const keptOf = (c: Centre, id: string): string => {
  const into = c.owners.find((o) => o.id === id)?.mergedInto
  return into === undefined ? id : keptOf(c, into)
}

export function stateOf(c: Centre, ownerId: string, today: Day): OwnerState {
  const owner = c.owners.find((o) => o.id === ownerId) as OwnerOnFile
  const members = new Set(c.owners.filter((o) => keptOf(c, o.id) === ownerId).map((o) => o.id))
  const watches = c.watches.filter((w) => members.has(w.ownerId)).map((w) => watchStateOf(c, w, members, today))
  return {
    language: 'en',
    deceased: false,
    erased: false,
    lawfulBasisMissing: false,
    inDispute: false,
    blocked: false,
    choices: { 'complete-service': 'yes', 'water-check': 'yes', 'cell-change': 'yes' },
    hasAddress: true,
    mailReturned: false,
    hasPhone: false,
    lastTicketClosedOn: null,
    ...owner,
    ownerId,
    reminderDays: c.letters.filter((l) => members.has(l.ownerId) && l.reminder).map((l) => l.runOn),
    watches,
  }
}

function watchStateOf(c: Centre, w: WatchOnFile, members: ReadonlySet<string>, today: Day): WatchState {
  const { answer, keeping } = reckonAndKeep(w.facts, c.rules, today)
  w.before ??= new Map()
  const known = w.before
  const obligations = answer.obligations.map((o): ObligationState => {
    const keep = keeping.find((k) => k.kind === o.kind)
    const key = `${w.ownerId}/${o.kind}`
    const now = { ...o, noticesBy: keep?.noticesBy ?? null, eventOn: keep?.eventOn ?? null }
    const cycle = cycleOf(now, known.get(key) ?? null, false)
    known.set(key, { cycle, rule: o.rule, baseOn: o.baseOn, baseUntil: keep?.baseLastOn ?? null, stopOn: o.stopOn })
    return {
      ...o,
      cycle,
      letterDays: letterDaysOf(o, c.rules),
      doubtful: w.doubtful ?? answer.warnings.some((x) => kindsInDoubt(x, w.facts.history).includes(o.kind)),
      heldSince: c.holds.get(`${w.id} ${o.kind} ${cycle}`) ?? null,
      call: w.call ?? null,
      declinedOn: w.declined?.[o.kind] ?? null,
      appointmentOn: w.appointmentOn ?? null,
      booked: c.booked
        .filter((b) => members.has(b.ownerId) && b.watchId === w.id && b.kind === o.kind && b.cycle === cycle)
        .map((b) => ({ ...b, returned: w.returned ?? false })),
    }
  })
  return {
    watchId: w.id,
    recordId: w.ownerId,
    state: w.state ?? 'in-use',
    inHouse: w.inHouse ?? false,
    doubtfulPair: w.doubtfulPair ?? false,
    keepDry: w.keepDry ?? false,
    obligations,
    guarantees: [],
  }
}

/** Runs one night; returns what was decided for each owner who is not merged into another. */
export function night(c: Centre, today: Day): Map<string, Decision> {
  const decided = new Map<string, Decision>()
  for (const owner of c.owners.filter((o) => o.mergedInto === undefined)) {
    const decision = decideLetters(stateOf(c, owner.id, today), c.setting, today)
    decided.set(owner.id, decision)
    book(c, decision, today)
  }
  return decided
}

function book(c: Centre, { letter, withheld }: Decision, today: Day): void {
  for (const item of withheld) {
    const once = `${today} ${item.watchId} ${item.kind} ${item.stage}`
    if (c.withheldOnce.has(once)) continue
    c.withheldOnce.add(once)
    c.withheld.push({ ...item, runOn: today })
    const hold = `${item.watchId} ${item.kind} ${item.cycle}`
    if (heldForDoubtAlone(item.reasons) && !c.holds.has(hold)) c.holds.set(hold, today)
  }
  if (letter === null) return
  c.letters.push(letter)
  for (const part of letter.parts) {
    if (part.part === 'keep-dry') continue
    const row = (stage: string, booked: BookedRow['booked'], dueOn: Day, bundled: boolean) => {
      const key = {
        ownerId: part.recordId,
        watchId: part.watchId,
        kind: part.kind,
        cycle: part.cycle,
        round: part.round,
        stage,
      }
      const name = JSON.stringify(key)
      if (c.keys.has(name)) throw new Error(`booked twice: ${name}`)
      c.keys.add(name)
      c.booked.push({ ...key, booked, runOn: today, dueOn, bundled, returned: false })
    }
    if (part.part === 'due') {
      for (const stage of part.skips) row(stage, 'skipped', part.dueOn, part.bundled)
      if (part.books) row(part.stage, 'letter', part.dueOn, part.bundled)
    } else row(part.stage, 'rider', part.part === 'guarantee' ? part.lastDay : part.dueOn, false)
  }
}

/** Every night from one day to another, both included; `except` are nights on which nothing ran. */
export function nights(c: Centre, from: Day, to: Day, except: (today: Day) => boolean = () => false): void {
  for (let today = from; today <= to; today = addDays(today, 1)) if (!except(today)) night(c, today)
}

export const dueParts = (letter: LetterPlan): DuePart[] => letter.parts.filter((part) => part.part === 'due')

/** `2026-11-20: w1 cell-change 1, w2 water-check 1 → 2026-12-20` — a letter in one line, for comparing. */
export const inWords = (letter: LetterPlan): string =>
  `${letter.runOn}: ${letter.parts
    .map((p) =>
      p.part === 'due'
        ? `${p.watchId} ${p.kind} ${p.stage}${p.foldedUnder ? ` under ${p.foldedUnder}` : ''}`
        : `${p.watchId} ${p.part}`,
    )
    .join(', ')} → ${letter.comeBy}`
