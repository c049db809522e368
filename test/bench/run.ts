import { spawn } from 'node:child_process'
import { mkdir, readdir, readFile, writeFile } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import { createInterface } from 'node:readline'
import { parseArgs } from 'node:util'
import { type Figure, options, readFigure } from '../support/bench.ts'

/**
 * `npm run bench` measures everything, one file beside this one after the other; `npm run bench -- NAME` one of them;
 * `npm run bench -- --quick` everything at a small size, to see that it works. Each runs in a process of its own, so that
 * the memory it tells is its own, and measures its baseline in the same run. What was found stands in .data/bench.json:
 * the newest figure of each work and size, each with the day and the machine it was measured on.
 */
type Kept = Figure & {
  bench: string
  measured: { at: string; cpu: string; cores: number; memoryGb: number; node: string; load: number[] }
}

const here = import.meta.dirname
const all = (await readdir(here))
  .filter((file) => file.endsWith('.ts') && file !== 'run.ts')
  .map((file) => file.slice(0, -3))
  .sort()
const { names, asked, quick } = readAsked()
const out = path.resolve(quick ? '.data/bench-quick.json' : '.data/bench.json')

function readAsked(): { names: string[]; asked: string[]; quick: boolean } {
  try {
    const { values, positionals } = parseArgs({ options, allowPositionals: true })
    const unknown = positionals.filter((name) => !all.includes(name))
    if (unknown.length > 0)
      throw new Error(`There is no bench named ${unknown.join(', ')}; there are: ${all.join(', ')}`)
    const asked = Object.entries(values).flatMap(([name, value]) =>
      value === true ? [`--${name}`] : [`--${name}`, String(value)],
    )
    return { names: positionals.length > 0 ? positionals : all, asked, quick: values.quick === true }
  } catch (error) {
    console.error((error as Error).message)
    process.exit(1)
  }
}

async function runOne(bench: string): Promise<{ code: number | null; found: Kept[] }> {
  const child = spawn(process.execPath, ['--import', 'tsx', path.join(here, `${bench}.ts`), ...asked], {
    stdio: ['ignore', 'pipe', 'inherit'],
  })
  const found: Kept[] = []
  createInterface({ input: child.stdout }).on('line', (line) => {
    const figure = readFigure(line)
    if (!figure) return console.log(`  ${line}`)
    const measured = {
      at: new Date().toISOString(),
      cpu: os.cpus()[0]?.model ?? 'unknown',
      cores: os.cpus().length,
      memoryGb: Math.round(os.totalmem() / 2 ** 30),
      node: process.version,
      load: os.loadavg().map((n) => Math.round(n * 10) / 10),
    }
    found.push({ bench, ...figure, measured })
  })
  const code = await new Promise<number | null>((resolve) => child.once('close', resolve))
  return { code, found }
}

/** Columns as wide as what is in them; numbers to the right. */
function table(rows: readonly (readonly string[])[]): string[] {
  const widths = (rows[0] ?? []).map((_, column) => Math.max(...rows.map((row) => (row[column] ?? '').length)))
  const line = (row: readonly string[]) =>
    row
      .map((cell, n) => (n === 0 || n >= 7 ? cell.padEnd(widths[n] as number) : cell.padStart(widths[n] as number)))
      .join('  ')
      .trimEnd()
  return rows.map(line)
}

const number = (value: number | null) => (value === null ? '' : value.toLocaleString('en'))
const verdict = (ok: boolean | null) => (ok === null ? '' : ok ? 'reached' : 'MISSED')

function print(found: readonly Kept[]): void {
  for (const group of new Set(found.map((one) => one.group))) {
    const head = [`${group}`, 'size', 'baseline', 'ours', 'ratio', 'spread', 'rounds', 'asked', '']
    const rows = found
      .filter((one) => one.group === group)
      .map((one) => [
        one.work,
        one.size === null ? '' : `${number(one.size)} ${one.of}`,
        one.baseline === null ? '' : `${number(one.baseline)} ${one.unit}`,
        `${number(one.ours)} ${one.unit}`,
        number(one.ratio),
        `${number(one.spread[0])}–${number(one.spread[1])}`,
        String(one.rounds),
        one.reach ?? '',
        verdict(one.ok),
      ])
    console.log('')
    for (const line of table([head, ...rows])) console.log(line)
  }
}

async function keep(found: readonly Kept[]): Promise<void> {
  const before = JSON.parse(await readFile(out, 'utf8').catch(() => '{}')) as { results?: unknown }
  const same = (a: Kept, b: Kept) =>
    a.bench === b.bench && a.group === b.group && a.work === b.work && a.size === b.size
  const old = (Array.isArray(before.results) ? (before.results as Kept[]) : []).filter(
    (one) => !found.some((other) => same(one, other)),
  )
  await mkdir(path.dirname(out), { recursive: true })
  await writeFile(out, `${JSON.stringify({ results: [...old, ...found] }, null, 2)}\n`)
}

const everything: Kept[] = []
const broken: string[] = []
for (const bench of names) {
  const began = performance.now()
  console.log(`\n== ${bench}`)
  const { code, found } = await runOne(bench)
  if (code !== 0) broken.push(bench)
  everything.push(...found)
  await keep(found)
  print(found)
  console.log(
    `${bench}: ${Math.round((performance.now() - began) / 1000)} s${code === 0 ? '' : `, ended with ${code}`}`,
  )
}
if (names.length > 1) {
  console.log('\n== all that was promised')
  print(everything.filter((one) => one.reach !== null))
}
console.log(`\nwritten to ${path.relative(process.cwd(), out)}`)
// a missed figure is told in the table; what did not come to its end is a fault
if (broken.length > 0) {
  console.error(`did not come to their end: ${broken.join(', ')}`)
  process.exitCode = 1
}
