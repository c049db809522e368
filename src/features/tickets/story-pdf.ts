import { createRequire } from 'node:module'
import { setImmediate as others } from 'node:timers/promises'
import { dayAt, timeAt } from '../../http/service.ts'
import type { Entry, Story } from './story.ts'

// a font that can write most of the alphabets names are written in; the standard fonts of PDF know Western Europe only
const fonts = createRequire(import.meta.url)
const plain = fonts.resolve('dejavu-fonts-ttf/ttf/DejaVuSans.ttf')
const bold = fonts.resolve('dejavu-fonts-ttf/ttf/DejaVuSans-Bold.ttf')

const margin = 48
const columns = { when: 92, ticket: 62, by: 96 } as const
/** longer words go on in a row of their own, so that no row is higher than a page */
const ROW = 1500

type Face = { font: { hasGlyphForCodePoint: (codePoint: number) => boolean } }

/** What even this font cannot show is told by its number in Unicode, never dropped or replaced in silence. */
export function printable(text: string, shows: (codePoint: number) => boolean): string {
  return [...text.normalize('NFC')]
    .map((letter) => {
      const codePoint = letter.codePointAt(0) as number
      if (letter === '\n' || letter === '\t') return letter
      return shows(codePoint) ? letter : `[U+${codePoint.toString(16).toUpperCase().padStart(4, '0')}]`
    })
    .join('')
}

/** The story of one watch as a paper: each line with its day, ticket, words and signer, in order of time. */
export async function storyPdf(story: Story, centre: string, madeOn: string): Promise<Buffer> {
  // loaded when the first paper is asked for: it takes a fifth of the time of a start
  const { default: PDFDocument } = await import('pdfkit')
  const doc = new PDFDocument({
    size: 'A4',
    margin,
    bufferPages: true,
    font: plain,
    info: { Title: 'The story of a watch', Author: centre },
  })
  const parts: Buffer[] = []
  const done = new Promise<Buffer>((resolve, reject) => {
    doc.on('data', (part: Buffer) => parts.push(part))
    doc.on('end', () => resolve(Buffer.concat(parts)))
    doc.on('error', reject)
  })
  doc.registerFont('bold', bold).registerFont('plain', plain).font('plain')
  const face = (doc as unknown as { _font: Face })._font.font
  const written = (text: string) => printable(text, (codePoint) => face.hasGlyphForCodePoint(codePoint))
  const width = doc.page.width - 2 * margin
  const wordsWidth = width - columns.when - columns.ticket - columns.by - 18
  const bottom = doc.page.height - margin - 24

  doc.font('bold').fontSize(16).text('The story of a watch')
  doc
    .moveDown(0.3)
    .font('plain')
    .fontSize(10)
    .text(written(`${story.watch}, ${story.kind}, serial ${story.serial ?? 'none'}`))
  doc
    .fillColor('#444')
    .fontSize(8.5)
    .text(
      written(
        `${centre}, ${madeOn}. ${story.entries.length} entries, from all tickets and the book, in order of the time they happened; times of ${story.zone}.`,
      ),
    )
  doc.moveDown(0.8).fillColor('black')

  const header = () => {
    const y = doc.y
    doc.font('bold').fontSize(7.5)
    doc.text('When', margin, y, { width: columns.when, lineBreak: false })
    doc.text('Ticket', margin + columns.when + 6, y, { width: columns.ticket, lineBreak: false })
    doc.text('What', margin + columns.when + columns.ticket + 12, y, { width: wordsWidth, lineBreak: false })
    doc.text('Signed', margin + width - columns.by, y, { width: columns.by, lineBreak: false })
    doc.y = y + 15
    doc
      .moveTo(margin, doc.y - 4)
      .lineTo(margin + width, doc.y - 4)
      .lineWidth(0.5)
      .strokeColor('#888')
      .stroke()
    doc.font('plain').fontSize(7.5)
  }
  header()
  for (const [nth, entry] of story.entries.entries()) {
    // laying out takes some milliseconds a line: other requests are answered in between
    if (nth % 10 === 9) await others()
    const by = written(entry.by)
    const when = whenOf(entry, story.zone)
    for (const [n, words] of rowsOf(written(wordsOf(entry))).entries()) {
      const height = Math.max(
        doc.heightOfString(words, { width: wordsWidth }),
        n === 0 ? doc.heightOfString(by, { width: columns.by }) : 0,
        n === 0 ? doc.heightOfString(when, { width: columns.when }) : 0,
      )
      if (doc.y + height > bottom) {
        doc.addPage()
        doc.y = margin
        header()
      }
      const y = doc.y
      doc.fillColor(entry.struck === null ? 'black' : '#777')
      if (n === 0) {
        doc.text(when, margin, y, { width: columns.when })
        doc.text(entry.ticket ?? '', margin + columns.when + 6, y, { width: columns.ticket })
        doc.text(by, margin + width - columns.by, y, { width: columns.by })
      }
      doc.text(words, margin + columns.when + columns.ticket + 12, y, { width: wordsWidth })
      doc.y = y + height + 4
    }
  }
  doc.fillColor('black')
  if (doc.y + 60 > bottom) {
    doc.addPage()
    doc.y = margin
  }
  doc.moveDown(1).font('plain').fontSize(7.5)
  doc.text(
    `Fingerprint of these entries (SHA-256, each chained to the one before): ${story.fingerprint}`,
    margin,
    doc.y,
    { width },
  )
  for (const caution of story.cautions) doc.moveDown(0.5).text(caution, { width })
  const pages = doc.bufferedPageRange()
  for (let i = pages.start; i < pages.start + pages.count; i++) {
    doc.switchToPage(i)
    // the foot stands in the margin, where a line of text would open another page
    doc.page.margins.bottom = 0
    doc
      .fillColor('#666')
      .fontSize(7)
      .text(`page ${i + 1} of ${pages.count}`, margin, doc.page.height - margin, {
        width,
        align: 'right',
        lineBreak: false,
      })
  }
  doc.end()
  return done
}

const wordsOf = (entry: Entry): string =>
  entry.struck === null
    ? entry.words
    : `[struck${entry.struckBy === null ? '' : ` by ${entry.struckBy}`}: ${entry.struck}] ${entry.words}`

/** The hour where it is known; where it was written down on another day, that day too. */
function whenOf(entry: Entry, zone: string): string {
  const at = new Date(entry.at)
  const time = timeAt(at, zone)
  const known = entry.on === dayAt(at, zone) && (entry.at === entry.learned || time !== '00:00')
  return `${entry.on}${known ? ` ${time}` : ''}${entry.recordedOn === entry.on ? '' : `\nrecorded ${entry.recordedOn}`}`
}

function rowsOf(words: string): string[] {
  const rows: string[] = []
  let rest = words
  while (rest.length > ROW) {
    const cut = Math.max(rest.lastIndexOf(' ', ROW), rest.lastIndexOf('\n', ROW))
    const whole = /[\ud800-\udbff]/.test(rest.charAt(ROW - 1)) ? ROW - 1 : ROW
    const at = cut > ROW / 2 ? cut : whole
    rows.push(rest.slice(0, at))
    rest = rest.slice(at).trimStart()
  }
  return [...rows, rest]
}
