import type { PartialDay } from '../domain/day.ts'
import type { DuePart, LetterPart } from '../domain/notices/types.ts'
import { isEventRule } from '../domain/reckoning/answer.ts'
import type { Source } from '../domain/reckoning/facts.ts'
import { type Block, closing, type Links, nameOf, opening, type Written, watchLine } from './blocks.ts'
import type { LetterContents, WatchWords } from './contents.ts'
import { writeReady } from './ready.ts'
import { writeRecall } from './recall.ts'
import { listIn, moneyIn } from './texts/formats.ts'
import { texts } from './texts/index.ts'
import type { Caution, SpokenStanding, Telling, Texts, WhyOf } from './texts/sentences.ts'

/** `asked-enough` and `not-yet` ride along only as part of another's visit; their day decides the words. */
function spoken(part: DuePart, today: string): SpokenStanding {
  if (part.standing === 'not-yet') return 'coming-up'
  if (part.standing === 'asked-enough') return part.dueOn > today ? 'coming-up' : 'overdue'
  return part.standing
}

function lastTime(part: DuePart, contents: LetterContents, t: Texts): string[] {
  const { letter } = t
  const base = contents.bases[`${part.watchId}/${part.kind}`] ?? (part.baseOn as unknown as PartialDay | null)
  if (base === null || part.baseFrom === 'none') return [letter.noRecord[part.kind]]
  if (part.baseFrom === 'sold') return [letter.noRecord[part.kind], letter.soldNew(t.when(base))]
  if (part.baseFrom === 'made') return [letter.noRecord[part.kind], letter.madeThen(t.when(base))]
  return [letter.lastDone[part.baseFrom as Source][part.kind](t.when(base))]
}

function whyOf(part: DuePart, watch: WatchWords): WhyOf {
  if (part.kind !== 'complete-service') return part.kind
  return watch.kind === 'quartz' || watch.kind === 'rechargeable-quartz' ? 'service-quartz' : 'service-mechanical'
}

function dueBlocks(part: DuePart, folded: readonly DuePart[], contents: LetterContents, t: Texts): Block[] {
  const { letter } = t
  const watch = contents.watches[part.watchId] as WatchWords
  const standing = spoken(part, contents.runOn)
  const named = { the: letter.the[part.kind], day: t.day(part.dueOn) }
  const facts: string[] = []
  if (isEventRule(part.rule)) {
    // of a water check the base is the event itself; of the others it is the last work, and the event has no day here
    const ofTheEvent = part.kind === 'water-check'
    const base = contents.bases[`${part.watchId}/${part.kind}`] ?? (part.baseOn as unknown as PartialDay | null)
    if (!ofTheEvent) facts.push(...lastTime(part, contents, t))
    facts.push(letter.event[part.rule][part.wentOut]({ when: ofTheEvent && base ? t.when(base) : null }))
    facts.push(letter.due[standing].none(named))
  } else {
    facts.push(...lastTime(part, contents, t))
    facts.push(letter.due[standing][part.wentOut](named))
    if (part.rule !== 'unknown-base')
      facts.push(letter.interval[part.rule](part.months === null ? '' : t.span(part.months)))
  }
  if (part.unsure) facts.push(letter.unsure)

  const why = [letter.why[whyOf(part, watch)]]
  if (!isEventRule(part.rule)) why.push(letter.runsWell)

  const visit: string[] = []
  if (folded.length > 0) {
    const list = listIn(
      t.locale,
      folded.map((one) => `${letter.what[one.kind]} (${t.day(one.dueOn)})`),
    )
    visit.push(letter.folded({ list }))
    for (const one of folded)
      visit.push(...lastTime(one, contents, t), ...(one.unsure && !part.unsure ? [letter.unsure] : []))
  }
  const price = contents.prices[part.kind]
  visit.push(
    price
      ? letter.price({
          money: moneyIn(t.locale, price.amount, price.currency),
          until: t.day(price.until),
          takes: t.takes(price.takesFrom, price.takesTo, price.takesUnit),
        })
      : letter.noPrice,
  )
  return [facts, why, visit].map((sentences) => ({ block: 'paragraph', text: sentences.join(' ') }))
}

function cautionsOf(watch: WatchWords, parts: readonly LetterPart[]): Caution[] {
  const cautions: Caution[] = []
  const due = parts.filter((part) => part.part === 'due')
  if (parts.some((part) => part.part === 'keep-dry')) cautions.push('keep-dry')
  if (due.some((part) => part.kind === 'water-check' && isEventRule(part.rule))) cautions.push('no-water-until-tested')
  const hazards = new Set(watch.hazards)
  if (
    hazards.has('radium') ||
    hazards.has('maybe-radium') ||
    watch.luminous === 'radium' ||
    watch.luminous === 'unknown-old'
  )
    cautions.push('radium')
  if (hazards.has('tritium') || watch.luminous.startsWith('tritium')) cautions.push('tritium')
  if (due.some((part) => part.rule === 'leaking') || hazards.has('leaking-cell')) cautions.push('leaking-cell')
  if (due.some((part) => part.kind === 'cell-change')) cautions.push('cell-and-children')
  if (watch.kind === 'rechargeable-quartz' && due.length > 0) cautions.push('rechargeable')
  return cautions
}

/** What could change a date of this letter. */
function tellingsOf(due: readonly DuePart[]): Telling[] {
  const kinds = new Set(due.map((part) => part.kind))
  const mechanical = due.some((part) => part.kind === 'complete-service' && part.rule !== 'quartz')
  return [
    ...(mechanical ? (['worn-now-and-then'] as const) : []),
    ...(kinds.has('water-check') || kinds.has('seals') ? (['never-in-water'] as const) : []),
    'maker-says-otherwise',
    'done-elsewhere',
    'sold',
    'stored',
  ]
}

/**
 * Writes a letter: who writes; each watch with what was done last, what is due, by what day and why; what it costs; the
 * cautions; what the owner can tell; how to have fewer letters. Chosen by the standing on the day and by how many
 * letters of the round went before. Pure: the same contents and links give the same letter.
 */
export function writeLetter(contents: LetterContents, links: Links): Written {
  if (contents.recall) return writeRecall(contents, contents.recall, links)
  if (contents.ready) return writeReady(contents, contents.ready, links)
  const t = texts[contents.language]
  const { letter } = t
  const watchIds = [...new Set(contents.parts.map((part) => part.watchId))]
  const due = contents.parts.filter((part): part is DuePart => part.part === 'due')
  const swallowers = new Set(due.map((part) => `${part.watchId}/${part.kind}`))
  const isFolded = (part: DuePart) => part.foldedUnder !== null && swallowers.has(`${part.watchId}/${part.foldedUnder}`)

  const blocks = opening(contents, t, letter.writer({ centre: contents.centre.name, count: watchIds.length }))

  let lastWatch = ''
  const cautioned = new Set<string>()
  for (const part of contents.parts) {
    const watch = contents.watches[part.watchId] as WatchWords
    // one watch's keep-dry line stands among its cautions
    const said = part.part === 'keep-dry' || (part.part === 'due' && isFolded(part)) ? null : part
    if ((said || !cautioned.has(part.watchId)) && part.watchId !== lastWatch) {
      blocks.push({ block: 'heading', text: watchLine(watch, t) })
      lastWatch = part.watchId
    }
    if (said?.part === 'due') {
      const folded = due.filter(
        (other) => other.watchId === said.watchId && isFolded(other) && outermost(other, due) === said.kind,
      )
      blocks.push(...dueBlocks(said, folded, contents, t))
    } else if (said?.part === 'moved-later') {
      const text = letter.movedLater({
        the: letter.forThe[said.kind],
        told: t.day(said.toldDueOn),
        day: t.day(said.dueOn),
      })
      blocks.push({ block: 'paragraph', text })
    } else if (said?.part === 'guarantee') {
      blocks.push({ block: 'paragraph', text: letter.guarantee({ lastDay: t.day(said.lastDay) }) })
    }
    if (!cautioned.has(part.watchId)) {
      cautioned.add(part.watchId)
      const mine = contents.parts.filter((other) => other.watchId === part.watchId)
      for (const caution of cautionsOf(watch, mine)) blocks.push({ block: 'caution', text: letter.caution[caution] })
    }
  }

  if (due.length > 0) {
    blocks.push({ block: 'paragraph', text: letter.comeBy(t.day(contents.comeBy)) })
    blocks.push({ block: 'paragraph', text: letter.tellUs })
    blocks.push({ block: 'list', items: tellingsOf(due).map((telling) => letter.telling[telling]) })
  }
  const deferring = due.length > 0 ? [letter.deferring] : []
  if (due.some((part) => part.kind === 'water-check')) deferring.push(letter.deferringWater)
  blocks.push(...closing(contents, t, links, deferring))
  if (links.stop) blocks.push({ block: 'link', text: letter.stopByLink, url: links.stop })
  else blocks.push({ block: 'small', text: letter.stopByReply })

  return {
    language: contents.language,
    subject: subjectOf(contents, due, watchIds, t),
    blocks,
    calendar:
      due.length > 0
        ? {
            summary: letter.calendarSummary({
              centre: contents.centre.name,
              watch: listIn(
                t.locale,
                [...new Set(due.map((part) => part.watchId))].map((id) => nameOf(contents.watches[id] as WatchWords)),
              ),
            }),
            day: contents.comeBy,
          }
        : null,
  }
}

/** One swallowed by a swallowed item rides with the outermost. */
function outermost(part: DuePart, due: readonly DuePart[]): string {
  const under = due.find((other) => other.watchId === part.watchId && other.kind === part.foldedUnder)
  return under && under.foldedUnder !== null && under !== part ? outermost(under, due) : (part.foldedUnder ?? part.kind)
}

function subjectOf(contents: LetterContents, due: readonly DuePart[], watchIds: readonly string[], t: Texts): string {
  if (watchIds.length > 1) return t.letter.subjectSeveral(watchIds.length)
  const watch = nameOf(contents.watches[watchIds[0] ?? ''] as WatchWords)
  const first = due.find((part) => part.foldedUnder === null) ?? due[0]
  return first ? t.letter.subjectOne({ what: t.letter.what[first.kind], watch }) : t.letter.subjectAbout(watch)
}
