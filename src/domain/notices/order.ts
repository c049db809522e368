import { addDays, type Day } from '../day.ts'
import type { NoticeSetting } from './notice-rules.ts'
import type { LetterPart } from './types.ts'

function rank(part: LetterPart): number {
  switch (part.part) {
    case 'keep-dry':
      return 4
    case 'moved-later':
      return 10
    case 'guarantee':
      return 11
    case 'due': {
      if (part.rule === 'leaking' || part.rule === 'spent') return 1
      if (part.rule === 'opened-since-test' || part.rule === 'not-resistant') return 2
      if (part.rule === 'trouble') return 3
      if (part.rule === 'unknown-base') return 9
      return { 'cell-change': 5, 'water-check': 6, 'complete-service': 7, seals: 8 }[part.kind]
    }
  }
}

const dueOf = (part: LetterPart): string =>
  part.part === 'due' || part.part === 'moved-later' ? part.dueOn : part.part === 'guarantee' ? part.lastDay : ''
const kindOf = (part: LetterPart): string => ('kind' in part ? part.kind : '')

const compare = (a: string, b: string) => (a < b ? -1 : a > b ? 1 : 0)

/** What is urgent first; then by due day, watch and kind, so that the same facts always give the same letter. */
export const inOrder = (parts: readonly LetterPart[]): LetterPart[] =>
  [...parts].sort(
    (a, b) =>
      rank(a) - rank(b) ||
      compare(dueOf(a), dueOf(b)) ||
      compare(a.watchId, b.watchId) ||
      compare(kindOf(a), kindOf(b)),
  )

/** The day asked for: the earliest day in the letter, but never sooner than a week from now. */
export function comeByOf(parts: readonly LetterPart[], setting: NoticeSetting, today: Day): Day {
  const soonest = addDays(today, setting.rules.comeByDays)
  const days = parts.flatMap((part) =>
    part.part === 'due' ? [part.dueOn] : part.part === 'guarantee' ? [part.lastDay] : [],
  )
  const earliest = days.sort()[0]
  return earliest !== undefined && earliest > soonest ? earliest : soonest
}
