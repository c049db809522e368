import { type LetterContents, oneLine } from './contents.ts'
import { texts } from './texts/index.ts'
import { type RecalledWhat, recallTexts } from './texts/recall.ts'
import type { Block, Links, Written } from './write.ts'

/** The watches of a recall letter; `possible` where the lot of the fitted piece is not on record. */
export type RecallWords = {
  readonly what?: RecalledWhat
  readonly watches: readonly { watchId: string; certainty: 'fitted' | 'possible' }[]
}

/**
 * A cell, a gasket or a part was called back by its supplier: which watch, what it costs (nothing), what not to do. It stands outside the
 * rhythm and the reminder choices, since it is not an offer but a warning; there is no link to stop it.
 */
export function writeRecall(contents: LetterContents, recall: RecallWords, greeting: string, links: Links): Written {
  const t = texts[contents.language]
  const said = recallTexts[contents.language]
  const what = recall.what ?? 'cell'
  const words = said[what]
  const blocks: Block[] = [
    { block: 'greeting', text: greeting },
    { block: 'paragraph', text: said.writer(contents.centre.name) },
  ]
  for (const { watchId, certainty } of recall.watches) {
    const watch = contents.watches[watchId]
    if (!watch) continue
    const name = oneLine([watch.maker, watch.model, watch.description].filter(Boolean).join(' '))
    blocks.push({
      block: 'heading',
      text: watch.lastFour ? `${name} (${t.letter.numberEnding(watch.lastFour)})` : name,
    })
    blocks.push({ block: 'paragraph', text: certainty === 'fitted' ? words.fitted : words.possible })
  }
  blocks.push({ block: 'paragraph', text: words.come })
  blocks.push({ block: 'caution', text: words.until })
  if (what === 'cell') blocks.push({ block: 'caution', text: t.letter.caution['cell-and-children'] })
  if (links.answer) blocks.push({ block: 'link', text: t.letter.tellUsByLink, url: links.answer })
  blocks.push({ block: 'paragraph', text: t.letter.tellUsByReply })
  blocks.push({ block: 'paragraph', text: `${t.letter.regards}\n${contents.centre.name}` })
  const { phone, mail, address } = contents.centre
  const ways = [phone, mail, address].filter((way): way is string => Boolean(way)).map(oneLine)
  blocks.push({ block: 'small', text: t.letter.contact({ list: ways.join(', ') }) })
  return { language: contents.language, subject: words.subject, blocks, calendar: null }
}
