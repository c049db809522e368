import { type LetterContents, oneLine, type WatchWords } from './contents.ts'
import type { Texts } from './texts/sentences.ts'

/** A letter as a sequence of blocks, from which both the plain text and the HTML are laid out. */
export type Block =
  | { block: 'greeting' | 'paragraph' | 'heading' | 'caution' | 'small'; text: string }
  | { block: 'list'; items: string[] }
  | { block: 'link'; text: string; url: string }

export type Links = { answer: string | null; stop: string | null }
export type Written = {
  language: string
  subject: string
  blocks: Block[]
  calendar: { summary: string; day: string } | null
}

export const nameOf = (watch: WatchWords): string => oneLine([watch.maker, watch.model].filter(Boolean).join(' '))

/** "Brackwater Tidal, small steel watch with blue dial (number ending 4417)" */
export function watchLine(watch: WatchWords, t: Texts): string {
  const name = watch.description ? `${nameOf(watch)}, ${oneLine(watch.description)}` : nameOf(watch)
  return watch.lastFour ? `${name} (${t.letter.numberEnding(watch.lastFour)})` : name
}

function addressed({ name, formOfAddress }: LetterContents['owner']): string {
  if (!formOfAddress) return oneLine(name)
  const family = oneLine(name).split(' ').at(-1) ?? ''
  // "Ms Ferrant" is whole; "Ms" wants the name
  return formOfAddress.includes(family) ? oneLine(formOfAddress) : oneLine(`${formOfAddress} ${name}`)
}

/** To whom, and who writes. */
export const opening = ({ owner }: LetterContents, t: Texts, writer: string): Block[] => [
  { block: 'greeting', text: t.letter.greeting(addressed(owner)) },
  { block: 'paragraph', text: writer },
]

/** How to answer, regards, what only a watchmaker can say after all, and where we are. */
export function closing(
  { centre }: LetterContents,
  t: Texts,
  links: Links,
  deferring: readonly string[] = [],
): Block[] {
  const { letter } = t
  const ways = [centre.phone, centre.mail, centre.address].filter((way): way is string => Boolean(way)).map(oneLine)
  return [
    ...(links.answer ? [{ block: 'link' as const, text: letter.tellUsByLink, url: links.answer }] : []),
    { block: 'paragraph', text: letter.tellUsByReply },
    { block: 'paragraph', text: `${letter.regards}\n${centre.name}` },
    ...deferring.map((text) => ({ block: 'small' as const, text })),
    { block: 'small', text: letter.contact({ list: ways.join(', ') }) },
  ]
}
