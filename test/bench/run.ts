import { spawn } from 'node:child_process'
import { mkdir, readdir, readFile, writeFile } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import { createInterface } from 'node:readline'

/**
 * `npm run bench` measures everything, `npm run bench -- NAME` one of the files beside this one. Each runs in a process of
 * its own, so that the memory it tells is its own; each measures its baseline in the same run and prints ratios. What was
 * printed goes to .data/bench.json, with the machine and the load it was measured under.
 */
const here = import.meta.dirname
const out = path.resolve('.data/bench.json')
const all = (await readdir(here))
  .filter((file) => file.endsWith('.ts') && file !== 'run.ts')
  .map((file) => file.slice(0, -3))
  .sort()
const asked = process.argv.slice(2)
const unknown = asked.filter((name) => !all.includes(name))
if (unknown.length > 0) {
  console.error(`There is no bench named ${unknown.join(', ')}; there are: ${all.join(', ')}`)
  process.exit(1)
}

type Result = { at: string; seconds: number; ok: boolean; load: number[]; printed: unknown[] }
const known = JSON.parse(await readFile(out, 'utf8').catch(() => '{"results":{}}')) as {
  results: Record<string, Result>
}

const parsed = (line: string): unknown => {
  try {
    return JSON.parse(line)
  } catch {
    return line
  }
}

function runOne(name: string): Promise<Result> {
  const started = performance.now()
  const child = spawn(process.execPath, ['--import', 'tsx', path.join(here, `${name}.ts`)], {
    stdio: ['ignore', 'pipe', 'inherit'],
  })
  const printed: unknown[] = []
  createInterface({ input: child.stdout }).on('line', (line) => {
    console.log(line)
    if (line.trim() !== '') printed.push(parsed(line))
  })
  return new Promise((resolve) => {
    child.once('close', (code) =>
      resolve({
        at: new Date().toISOString(),
        seconds: Math.round((performance.now() - started) / 1000),
        ok: code === 0,
        load: os.loadavg().map((n) => Math.round(n * 10) / 10),
        printed,
      }),
    )
  })
}

for (const name of asked.length > 0 ? asked : all) {
  console.log(`\n== ${name}`)
  known.results[name] = await runOne(name)
  await mkdir(path.dirname(out), { recursive: true })
  const machine = {
    node: process.version,
    cores: os.cpus().length,
    cpu: os.cpus()[0]?.model,
    memoryGb: Math.round(os.totalmem() / 2 ** 30),
  }
  await writeFile(out, `${JSON.stringify({ machine, ...known }, null, 2)}\n`)
}
console.log(`\nwritten to ${path.relative(process.cwd(), out)}`)
if (Object.values(known.results).some((result) => !result.ok)) process.exitCode = 1
