import type { LetterPlan } from '../domain/notices/types.ts'
import { type Block, closing, type Links, nameOf, opening, type Written, watchLine } from './blocks.ts'
import type { LetterContents, WatchWords } from './contents.ts'
import { moneyIn } from './texts/formats.ts'
import { texts } from './texts/index.ts'
import { readyTexts } from './texts/ready.ts'

/**
 * A watch is ready to collect, or goes back without the work: which one, what to bring, what there is to pay. It stands
 * outside the rhythm and the reminder choices, since it answers what the owner ordered; there is no link to stop it.
 */
export function writeReady(contents: LetterContents, ready: NonNullable<LetterPlan['ready']>, links: Links): Written {
  const t = texts[contents.language]
  const words = readyTexts[contents.language]
  const watch = contents.watches[ready.watchId] as WatchWords
  const paragraphs = [
    ready.undone ? words.undone : ready.checkedByAnother ? words.readyChecked : words.ready,
    words.bring(ready.number),
    ...(ready.owed === null ? [] : [words.owed(moneyIn(t.locale, ready.owed.amount, ready.owed.currency))]),
    `${words.somebodyElse} ${words.later}`,
  ]
  return {
    language: contents.language,
    subject: (ready.undone ? words.subjectUndone : words.subject)(nameOf(watch)),
    blocks: [
      ...opening(contents, t, words.writer(contents.centre.name)),
      { block: 'heading', text: watchLine(watch, t) },
      ...paragraphs.map((text): Block => ({ block: 'paragraph', text })),
      ...closing(contents, t, links),
    ],
    calendar: null,
  }
}
