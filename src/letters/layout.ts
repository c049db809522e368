import type { Block, Written } from './blocks.ts'

const WIDTH = 72

/** Words of one paragraph over lines of at most 72 columns; no-break spaces hold, a link is never broken. */
function wrapped(text: string, indent = ''): string {
  return text
    .split('\n')
    .map((line) => {
      const lines: string[] = []
      let current = ''
      for (const word of line.split(' ')) {
        if (current !== '' && current.length + 1 + word.length > WIDTH - indent.length) {
          lines.push(current)
          current = word
        } else current = current === '' ? word : `${current} ${word}`
      }
      return [...lines, current].join(`\n${indent}`)
    })
    .join('\n')
}

function inText(block: Block): string {
  switch (block.block) {
    case 'heading':
      return `${wrapped(block.text)}\n${'-'.repeat(Math.min(WIDTH, [...block.text].length))}`
    case 'caution':
      return `! ${wrapped(block.text, '  ')}`
    case 'list':
      return block.items.map((item) => `- ${wrapped(item, '  ')}`).join('\n')
    case 'link':
      return `${wrapped(block.text)}:\n${block.url}`
    default:
      return wrapped(block.text)
  }
}

export const asText = (letter: Written): string => `${letter.blocks.map(inText).join('\n\n')}\n`

export const escaped = (text: string): string =>
  text
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;')
    .replaceAll("'", '&#39;')

const lines = (text: string) => escaped(text).replaceAll('\n', '<br>')

function inHtml(block: Block): string {
  switch (block.block) {
    case 'heading':
      return `<h2 style="font-size:17px;margin:24px 0 8px">${lines(block.text)}</h2>`
    case 'caution':
      return `<p style="border-left:4px solid #b4530a;padding:2px 0 2px 12px">${lines(block.text)}</p>`
    case 'list':
      return `<ul>${block.items.map((item) => `<li>${lines(item)}</li>`).join('')}</ul>`
    case 'link':
      return `<p><a href="${escaped(block.url)}">${lines(block.text)}</a></p>`
    case 'small':
      return `<p style="font-size:14px;color:#555">${lines(block.text)}</p>`
    default:
      return `<p>${lines(block.text)}</p>`
  }
}

/** One column, no pictures, nothing fetched from anywhere. */
export const asHtml = (letter: Written): string =>
  [
    `<!DOCTYPE html><html lang="${escaped(letter.language)}"><head><meta charset="utf-8">`,
    '<meta name="viewport" content="width=device-width, initial-scale=1">',
    `<title>${escaped(letter.subject)}</title></head>`,
    '<body style="margin:0;background:#fff;color:#1a1a1a;font:16px/1.5 Georgia,serif">',
    '<div style="max-width:600px;margin:0 auto;padding:16px;overflow-wrap:anywhere">',
    ...letter.blocks.map(inHtml),
    '</div></body></html>',
    '',
  ].join('\n')
