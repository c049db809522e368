import { type Block, closing, type Links, opening, type Written, watchLine } from './blocks.ts'
import type { LetterContents } from './contents.ts'
import { texts } from './texts/index.ts'
import { type RecalledWhat, recallTexts } from './texts/recall.ts'

/** The watches of a recall letter; `possible` where the lot of the fitted piece is not on record. */
export type RecallWords = {
  readonly what?: RecalledWhat
  readonly watches: readonly { watchId: string; certainty: 'fitted' | 'possible' }[]
}

/**
 * A cell, a gasket or a part was called back by its supplier: which watch, what it costs (nothing), what not to do. It stands outside the
 * rhythm and the reminder choices, since it is not an offer but a warning; there is no link to stop it.
 */
export function writeRecall(contents: LetterContents, recall: RecallWords, links: Links): Written {
  const t = texts[contents.language]
  const said = recallTexts[contents.language]
  const what = recall.what ?? 'cell'
  const words = said[what]
  const blocks = opening(contents, t, said.writer(contents.centre.name))
  for (const { watchId, certainty } of recall.watches) {
    const watch = contents.watches[watchId]
    if (!watch) continue
    blocks.push(
      { block: 'heading', text: watchLine(watch, t) },
      { block: 'paragraph', text: certainty === 'fitted' ? words.fitted : words.possible },
    )
  }
  const cautions = [words.until, ...(what === 'cell' ? [t.letter.caution['cell-and-children']] : [])]
  blocks.push(
    { block: 'paragraph', text: words.come },
    ...cautions.map((text): Block => ({ block: 'caution', text })),
    ...closing(contents, t, links),
  )
  return { language: contents.language, subject: words.subject, blocks, calendar: null }
}
