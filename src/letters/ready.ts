import type { LetterPlan } from '../domain/notices/types.ts'
import { type LetterContents, oneLine } from './contents.ts'
import { moneyIn } from './texts/formats.ts'
import { texts } from './texts/index.ts'
import { readyTexts } from './texts/ready.ts'
import type { Block, Links, Written } from './write.ts'

/**
 * A watch is ready to collect, or goes back without the work: which one, what to bring, what there is to pay. It stands
 * outside the rhythm and the reminder choices, since it answers what the owner ordered; there is no link to stop it.
 */
export function writeReady(
  contents: LetterContents,
  ready: NonNullable<LetterPlan['ready']>,
  greeting: string,
  links: Links,
): Written {
  const t = texts[contents.language]
  const words = readyTexts[contents.language]
  const watch = contents.watches[ready.watchId]
  const name = oneLine([watch?.maker, watch?.model].filter(Boolean).join(' '))
  const described = oneLine([name, watch?.description].filter(Boolean).join(', '))
  const blocks: Block[] = [
    { block: 'greeting', text: greeting },
    { block: 'paragraph', text: words.writer(contents.centre.name) },
    {
      block: 'heading',
      text: watch?.lastFour ? `${described} (${t.letter.numberEnding(watch.lastFour)})` : described,
    },
    {
      block: 'paragraph',
      text: ready.undone ? words.undone : ready.checkedByAnother ? words.readyChecked : words.ready,
    },
    { block: 'paragraph', text: words.bring(ready.number) },
  ]
  if (ready.owed !== null)
    blocks.push({
      block: 'paragraph',
      text: words.owed(moneyIn(t.locale, ready.owed.amount, ready.owed.currency)),
    })
  blocks.push({ block: 'paragraph', text: `${words.somebodyElse} ${words.later}` })
  if (links.answer) blocks.push({ block: 'link', text: t.letter.tellUsByLink, url: links.answer })
  blocks.push({ block: 'paragraph', text: t.letter.tellUsByReply })
  blocks.push({ block: 'paragraph', text: `${t.letter.regards}\n${contents.centre.name}` })
  const { phone, mail, address } = contents.centre
  const ways = [phone, mail, address].filter((way): way is string => Boolean(way)).map(oneLine)
  blocks.push({ block: 'small', text: t.letter.contact({ list: ways.join(', ') }) })
  return {
    language: contents.language,
    subject: (ready.undone ? words.subjectUndone : words.subject)(name),
    blocks,
    calendar: null,
  }
}
