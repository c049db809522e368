import { spawn } from 'node:child_process'
import { once } from 'node:events'
import { createInterface } from 'node:readline'
import { fileURLToPath } from 'node:url'
import { type ParseArgsConfig, parseArgs } from 'node:util'
import type pg from 'pg'

/** What every bench may be asked with; `npm run bench` hands it on as it is. */
export const options = {
  /** everything at a small size, to see that it works: no figure of it means anything */
  quick: { type: 'boolean' },
  /** numbers of watches, such as 10000,100000 */
  sizes: { type: 'string' },
  rounds: { type: 'string' },
  letters: { type: 'string' },
  connections: { type: 'string' },
  issues: { type: 'string' },
  watched: { type: 'string' },
  lots: { type: 'string' },
  entries: { type: 'string' },
  tickets: { type: 'string' },
  fresh: { type: 'string' },
  seconds: { type: 'string' },
  /** one of the sizes, by a process of its own */
  only: { type: 'string' },
} satisfies ParseArgsConfig['options']

const { values: asked } = parseArgs({ args: process.argv.slice(2), options, strict: false, allowPositionals: true })

export const quick = asked.quick === true

/** A number that can be asked for, else the usual one, or the small one with --quick. */
export function numberAsked(name: Exclude<keyof typeof options, 'quick' | 'sizes'>, usual: number, small: number) {
  const given = asked[name]
  if (given === undefined) return quick ? small : usual
  const number = Number(given)
  if (!Number.isInteger(number) || number < 1) throw new Error(`--${name} takes a whole number from 1, not ${given}`)
  return number
}

export function sizesAsked(usual: readonly number[], small: readonly number[]): number[] {
  if (typeof asked.sizes !== 'string') return [...(quick ? small : usual)]
  const sizes = asked.sizes.split(',').map(Number)
  if (!sizes.every((size) => Number.isInteger(size) && size > 0))
    throw new Error(`--sizes takes whole numbers with commas between them, not ${asked.sizes}`)
  return sizes
}

/** What a figure must come to: of the ratio, of our own value, or both. */
export type Reach = { ratioAtMost?: number; ratioAtLeast?: number; atMost?: number; atLeast?: number }

/** One figure of a bench. Times are in `unit`; `spread` is least and most of the ratio over the rounds, of `ours` where there is no baseline. */
export type Figure = {
  group: string
  work: string
  /** how much it was measured at, and of what */
  size: number | null
  of: string
  unit: string
  baseline: number | null
  ours: number
  ratio: number | null
  spread: [number, number]
  rounds: number
  /** in words; null where nothing was promised for this size */
  reach: string | null
  ok: boolean | null
  postgres: string | null
  /** whatever else is worth keeping */
  more: Record<string, unknown>
}

export type Measured = {
  work: string
  unit: string
  /** one value a round */
  ours: readonly number[]
  /** one value a round, taken by turns with ours */
  baseline?: readonly number[]
  size?: number
  of?: string
  reach?: Reach
  /** the size that the reach is promised for; at others it is not judged */
  promisedAt?: number
  /** figures that belong into one table */
  group?: string
  more?: Record<string, unknown>
}

export function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b)
  const at = (place: number) => sorted[Math.floor(place)] as number
  return (at((sorted.length - 1) / 2) + at(sorted.length / 2)) / 2
}
export const round = (value: number, places = 2): number => Math.round(value * 10 ** places) / 10 ** places
/** three digits are as much as a measurement says */
const short = (value: number) =>
  Math.abs(value) >= 100 ? Math.round(value) : round(value, Math.abs(value) < 1 ? 3 : 2)

export function figureOf(measured: Measured, postgres: string | null): Figure {
  const { ours, baseline, reach = {}, size = null } = measured
  if (ours.length === 0 || (baseline && baseline.length !== ours.length))
    throw new Error(`${measured.work}: a round of ours and one of the baseline belong together`)
  const ratios = baseline?.map((value, n) => (ours[n] as number) / value)
  const spreadOf = ratios ?? ours
  const [value, ratio] = [median(ours), ratios ? median(ratios) : null]
  const judged = measured.promisedAt === undefined || measured.promisedAt === size
  const words = [
    reach.ratioAtMost !== undefined && `ratio ≤ ${reach.ratioAtMost}`,
    reach.ratioAtLeast !== undefined && `ratio ≥ ${reach.ratioAtLeast}`,
    reach.atMost !== undefined && `≤ ${reach.atMost} ${measured.unit}`,
    reach.atLeast !== undefined && `≥ ${reach.atLeast} ${measured.unit}`,
  ].filter((word) => word !== false)
  const ok =
    (ratio === null || ratio <= (reach.ratioAtMost ?? Number.POSITIVE_INFINITY)) &&
    (ratio === null || ratio >= (reach.ratioAtLeast ?? 0)) &&
    value <= (reach.atMost ?? Number.POSITIVE_INFINITY) &&
    value >= (reach.atLeast ?? Number.NEGATIVE_INFINITY)
  return {
    group: measured.group ?? 'figures',
    work: measured.work,
    size,
    of: measured.of ?? 'watches',
    unit: measured.unit,
    baseline: baseline ? short(median(baseline)) : null,
    ours: short(value),
    ratio: ratio === null ? null : short(ratio),
    spread: [short(Math.min(...spreadOf)), short(Math.max(...spreadOf))],
    rounds: ours.length,
    reach: judged && words.length > 0 ? words.join(', ') : null,
    ok: judged && words.length > 0 ? ok : null,
    postgres,
    more: measured.more ?? {},
  }
}

let server: string | null = null

/** Every figure told after this was measured on this PostgreSQL. */
export async function measuredOn(pool: { query: pg.Pool['query'] }): Promise<void> {
  const { rows } = await pool.query<{ server_version: string }>('show server_version')
  server = rows[0]?.server_version ?? null
}

/** What a bench has found, as one line that whoever started it reads (`readFigure`); what else it says goes to stderr. */
export function tell(measured: Measured): Figure {
  const figure = figureOf(measured, server)
  process.stdout.write(`${JSON.stringify({ figure })}\n`)
  return figure
}

export function readFigure(line: string): Figure | null {
  return line.startsWith('{"figure":') ? (JSON.parse(line) as { figure: Figure }).figure : null
}

export const say = (words: string) => void process.stderr.write(`  ${words}\n`)

/** Megabytes of heap: V8 lets it grow with the machine's memory, so only under a limit does the memory of a process tell what the work needs. */
const HEAP_MB = 128

/**
 * Each size in a process of its own with a small heap, so that the memory it tells is neither what another size left behind
 * nor what nobody cleared away. Answers with what they told; null in the process of one size, which tells and has nothing to
 * compare.
 */
export async function eachSize(
  file: string,
  sizes: readonly number[],
  work: (size: number) => Promise<void>,
): Promise<Figure[] | null> {
  if (asked.only !== undefined) {
    await work(numberAsked('only', 0, 0))
    return null
  }
  const told: Figure[] = []
  for (const size of sizes) {
    const child = spawn(
      process.execPath,
      [
        `--max-old-space-size=${HEAP_MB}`,
        '--import',
        'tsx',
        fileURLToPath(file),
        ...process.argv.slice(2),
        '--only',
        String(size),
      ],
      { stdio: ['ignore', 'pipe', 'inherit'] },
    )
    createInterface({ input: child.stdout }).on('line', (line) => {
      process.stdout.write(`${line}\n`)
      const figure = readFigure(line)
      if (figure) told.push(figure)
    })
    const [code] = await once(child, 'close')
    if (code !== 0) throw new Error(`the size ${size} ended with ${code}`)
  }
  return told
}
