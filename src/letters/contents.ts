import type { Day, PartialDay } from '../domain/day.ts'
import type { LetterPart, LetterPlan } from '../domain/notices/types.ts'
import type { ObligationKind } from '../domain/reckoning/facts.ts'
import { type Language, languages, type Unit } from './texts/sentences.ts'

/**
 * Everything a letter says, fixed when it is first made ready: with the version of the texts it gives the same letter
 * again. It holds no link: those follow from the secret of the service and the notice.
 */
export type LetterContents = {
  language: Language
  runOn: Day
  comeBy: Day
  centre: { name: string; address?: string; phone?: string; mail: string }
  owner: { name: string; formOfAddress: string | null }
  watches: Record<string, WatchWords>
  /** by `<watch id>/<kind>`: the day of the base as precisely as it is known */
  bases: Record<string, PartialDay>
  prices: Partial<Record<ObligationKind, GuidePrice>>
  parts: readonly LetterPart[]
  recall?: LetterPlan['recall']
  ready?: LetterPlan['ready']
}

export type WatchWords = {
  maker: string
  model: string | null
  description: string | null
  /** the last four of the number and never more; null where there is none, or where four would be the whole of it */
  lastFour: string | null
  kind: string
  hazards: readonly string[]
  luminous: string
}

export type GuidePrice = {
  amount: number
  currency: string
  until: Day
  takesFrom: number
  takesTo: number
  takesUnit: Unit
}

/** `de-CH` reads German; what none of ours fits reads English. */
export function languageOf(tag: string): Language {
  const primary = tag.toLowerCase().split(/[-_]/)[0] ?? ''
  return languages.find((language) => language === primary) ?? 'en'
}

const plain = (serial: string) => serial.replace(/[^\p{L}\p{N}]/gu, '')

export function lastFourOf(serial: string | null): string | null {
  const characters = [...plain(serial ?? '')]
  return characters.length > 4 ? characters.slice(-4).join('') : null
}

const folded = (text: string) => plain(text).toUpperCase().toLowerCase()

/** Free text of the house may quote the number; a letter does not. */
export function withoutNumber(text: string | null, serial: string | null): string | null {
  const characters = [...plain(serial ?? '')]
  if (text === null || characters.length < 4) return text
  // most texts quote no number, and to compile the tolerant pattern costs as much as to write the rest of the letter
  if (!folded(text).includes(folded(serial ?? ''))) return text
  const tolerant = characters.map((c) => c.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')).join('[^\\p{L}\\p{N}]*')
  return text.replace(new RegExp(tolerant, 'giu'), `…${lastFourOf(serial) ?? ''}`)
}

/** One line, whatever was typed or imported. */
export const oneLine = (text: string): string =>
  text
    .replace(/[\p{Cc}\u2028\u2029]+/gu, ' ')
    .replace(/ {2,}/g, ' ')
    .trim()
