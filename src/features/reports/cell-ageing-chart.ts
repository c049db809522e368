import { inWords } from '../../domain/money.ts'
import { type Bucket, buckets } from '../../domain/stock/buckets.ts'
import type { Ageing } from './cell-ageing.ts'

/** Dark to light from dead to fresh; the two cold colours are still good for ordinary work. */
const colours: Readonly<Record<Bucket, string>> = {
  blocked: '#3b3b3b',
  expired: '#7a1f1f',
  'under-shortest-life': '#b23a2e',
  'past-full-life': '#e07b39',
  'days-0-30': '#f2b441',
  'days-31-90': '#d9d27a',
  'days-91-180': '#8fbf9f',
  'over-180-days': '#4f8a8b',
}
const words: Readonly<Record<Bucket, string>> = {
  blocked: 'blocked',
  expired: 'expired',
  'under-shortest-life': 'under the shortest life',
  'past-full-life': 'past full life',
  'days-0-30': '0–30 days',
  'days-31-90': '31–90 days',
  'days-91-180': '91–180 days',
  'over-180-days': 'over 180 days',
}

const escaped = (text: string) =>
  text.replace(/[&<>"]/g, (c) => ({ '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' })[c] as string)

const MOST_BARS = 40
const [LEFT, WIDE, BAR, GAP, TOP, RIGHT] = [130, 560, 18, 10, 120, 150]

/** A round step that cuts the longest bar into at most six. */
function stepOf(most: number): number {
  const rough = Math.max(1, most / 5)
  const power = 10 ** Math.floor(Math.log10(rough))
  return Math.max(1, [1, 2, 5, 10].map((n) => n * power).find((n) => n >= rough) ?? rough)
}

/**
 * One bar a designation, cut by bucket; hatched is what demand will not reach. The designations with most money at risk
 * come first; where there are more than forty the rest is summed in the note.
 */
export function ageingChart(ageing: Ageing): string {
  const ranked = [...ageing.rows].sort(
    (a, b) => b.unreachedMoney - a.unreachedMoney || b.pieces - a.pieces || (a.designation < b.designation ? -1 : 1),
  )
  const rows = ranked.slice(0, MOST_BARS)
  const most = Math.max(1, ...rows.map((row) => row.pieces))
  const step = stepOf(most)
  const scale = WIDE / (Math.ceil(most / step) * step)
  const bottom = TOP + Math.max(1, rows.length) * (BAR + GAP)
  const [width, height] = [LEFT + WIDE + RIGHT, bottom + 50]
  const parts: string[] = [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${height}" width="${width}" height="${height}" font-family="sans-serif" font-size="12" role="img" aria-label="Cells by days left of full life on ${ageing.on}">`,
    '<defs><pattern id="lost" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="2.5" height="6" fill="#ffffff" fill-opacity="0.75"/></pattern></defs>',
    `<rect width="${width}" height="${height}" fill="#ffffff"/>`,
    `<text x="16" y="28" font-size="18" font-weight="bold">Cells by days left of full life, ${ageing.on}</text>`,
  ]
  const { unreached, pieces } = ageing.total
  parts.push(
    `<text x="16" y="48">${pieces} pieces on the shelf; ${unreached} usable ones will not be reached by demand (hatched), ${escaped(inWords({ amount: Math.round(ageing.total.unreachedMoney), currency: ageing.currency }))}</text>`,
  )
  buckets.forEach((bucket, index) => {
    const [x, y] = [16 + (index % 4) * 200, 62 + Math.floor(index / 4) * 20]
    parts.push(
      `<rect x="${x}" y="${y}" width="12" height="12" fill="${colours[bucket]}"/><text x="${x + 18}" y="${y + 11}">${words[bucket]}</text>`,
    )
  })
  for (let tick = 0; tick * step * scale <= WIDE + 0.5; tick++) {
    const x = LEFT + tick * step * scale
    parts.push(
      `<line x1="${x}" y1="${TOP - 6}" x2="${x}" y2="${bottom}" stroke="#dddddd"/><text x="${x}" y="${bottom + 16}" text-anchor="middle">${tick * step}</text>`,
    )
  }
  parts.push(`<text x="${LEFT + WIDE / 2}" y="${bottom + 36}" text-anchor="middle">pieces</text>`)
  rows.forEach((row, index) => {
    const y = TOP + index * (BAR + GAP)
    parts.push(`<text x="${LEFT - 8}" y="${y + 13}" text-anchor="end">${escaped(row.designation)}</text>`)
    let x = LEFT
    for (const bucket of buckets) {
      const sum = row.buckets[bucket]
      if (sum.pieces === 0) continue
      const wide = sum.pieces * scale
      parts.push(
        `<rect x="${x.toFixed(1)}" y="${y}" width="${wide.toFixed(1)}" height="${BAR}" fill="${colours[bucket]}"><title>${escaped(row.designation)}, ${words[bucket]}: ${sum.pieces} pieces, ${sum.unreached} not reached</title></rect>`,
      )
      if (sum.unreached > 0) {
        const lost = sum.unreached * scale
        parts.push(
          `<rect x="${(x + wide - lost).toFixed(1)}" y="${y}" width="${lost.toFixed(1)}" height="${BAR}" fill="url(#lost)"/>`,
        )
      }
      x += wide
    }
    parts.push(
      `<text x="${(x + 6).toFixed(1)}" y="${y + 13}">${row.pieces}${row.unreached > 0 ? `, ${row.unreached} not reached` : ''}</text>`,
    )
  })
  if (rows.length === 0) parts.push(`<text x="${LEFT}" y="${TOP + 14}">No cells lie on the shelf.</text>`)
  if (ranked.length > rows.length) {
    const rest = ranked.slice(MOST_BARS)
    parts.push(
      `<text x="16" y="${height - 4}">and ${rest.length} more designations with ${rest.reduce((sum, row) => sum + row.pieces, 0)} pieces</text>`,
    )
  }
  return `${parts.join('')}</svg>`
}
