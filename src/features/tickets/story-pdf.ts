import PDFDocument from 'pdfkit'
import type { Story } from './story.ts'

/** The letters of the standard PDF fonts; what is not among them is told by a question mark, never dropped in silence. */
const printable = (text: string): string =>
  text.replace(/[^\u0020-\u007e\u00a0-\u00ff\u2013\u2014\u2018\u2019\u201c\u201d\u2022\u2026\u20ac]/g, '?')

const margin = 48
const columns = { when: 92, ticket: 62, by: 96 } as const

/** The story of one watch as a paper: each line with its day, ticket, words and signer, in order of time. */
export function storyPdf(story: Story, centre: string, madeOn: string): Promise<Buffer> {
  const doc = new PDFDocument({
    size: 'A4',
    margin,
    bufferPages: true,
    info: { Title: 'The story of a watch', Author: printable(centre) },
  })
  const parts: Buffer[] = []
  const done = new Promise<Buffer>((resolve, reject) => {
    doc.on('data', (part: Buffer) => parts.push(part))
    doc.on('end', () => resolve(Buffer.concat(parts)))
    doc.on('error', reject)
  })
  const width = doc.page.width - 2 * margin
  const wordsWidth = width - columns.when - columns.ticket - columns.by - 18
  const bottom = doc.page.height - margin - 24

  doc.font('Helvetica-Bold').fontSize(16).text('The story of a watch')
  doc
    .moveDown(0.3)
    .font('Helvetica')
    .fontSize(10.5)
    .text(printable(`${story.watch}, ${story.kind}, serial ${story.serial ?? 'none'}`))
  doc
    .fillColor('#444')
    .fontSize(9)
    .text(
      printable(
        `${centre}, ${madeOn}. ${story.entries.length} entries, from all tickets and the book, in order of time.`,
      ),
    )
  doc.moveDown(0.8).fillColor('black')

  const header = () => {
    const y = doc.y
    doc.font('Helvetica-Bold').fontSize(8)
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
    doc.font('Helvetica').fontSize(8)
  }
  header()
  for (const entry of story.entries) {
    const words = printable(entry.struck === null ? entry.words : `[struck: ${entry.struck}] ${entry.words}`)
    const by = printable(entry.by)
    const height = Math.max(
      doc.heightOfString(words, { width: wordsWidth }),
      doc.heightOfString(by, { width: columns.by }),
      10,
    )
    if (doc.y + height > bottom) {
      doc.addPage()
      doc.y = margin
      header()
    }
    const y = doc.y
    const when =
      entry.what === 'fact' || entry.what === 'ownership' ? entry.on : `${entry.at.slice(0, 16).replace('T', ' ')} UTC`
    doc.fillColor(entry.struck === null ? 'black' : '#888')
    doc.text(when, margin, y, { width: columns.when })
    doc.text(entry.ticket ?? '', margin + columns.when + 6, y, { width: columns.ticket })
    doc.text(words, margin + columns.when + columns.ticket + 12, y, { width: wordsWidth })
    doc.text(by, margin + width - columns.by, y, { width: columns.by })
    doc.y = y + height + 4
  }
  doc.fillColor('black')
  if (doc.y + 48 > bottom) {
    doc.addPage()
    doc.y = margin
  }
  doc.moveDown(1).font('Helvetica').fontSize(8)
  doc.text(
    `Fingerprint of these entries (SHA-256, each chained to the one before): ${story.fingerprint}`,
    margin,
    doc.y,
    { width },
  )
  doc
    .moveDown(0.5)
    .text(
      'Water resistance was tested on the dates and at the pressures shown. It is not permanent; seals age, and heat, soap, blows and opening the case shorten it.',
      { width },
    )
  const pages = doc.bufferedPageRange()
  for (let i = pages.start; i < pages.start + pages.count; i++) {
    doc.switchToPage(i)
    // the foot stands in the margin, where a line of text would open another page
    doc.page.margins.bottom = 0
    doc
      .fillColor('#666')
      .fontSize(7.5)
      .text(`page ${i + 1} of ${pages.count}`, margin, doc.page.height - margin, {
        width,
        align: 'right',
        lineBreak: false,
      })
  }
  doc.end()
  return done
}
