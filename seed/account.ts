import path from 'node:path'
import { roles } from '../src/http/service.ts'
import { steps } from './steps/index.ts'
import type { Demo, Try } from './steps/step.ts'

/** One step after another, each with its result and its time; what takes longer than a second shows how far it is. */
export async function runSteps(demo: Demo, print: (line: string) => void): Promise<void> {
  for (const step of steps) {
    const began = performance.now()
    let said = began
    const say = (progress: string) => {
      if (performance.now() - said < 1000) return
      said = performance.now()
      print(`    … ${progress}`)
    }
    const result = await step.run(demo, say)
    print(`  ${seconds(began)}  ${step.name}: ${result}`)
  }
}

export const seconds = (began: number): string => `${((performance.now() - began) / 1000).toFixed(1).padStart(5)} s`

/** The account of the demo's day: what every step has to tell, then where to look and what to try. */
export async function account(demo: Demo, address: string): Promise<string[]> {
  const lines: string[] = []
  for (const step of steps)
    for (const section of (await step.account?.(demo)) ?? [])
      lines.push('', section.title, ...section.lines.map((line) => `  ${line}`))
  lines.push('', 'Where to look', `  docs     ${address}/docs`)
  lines.push(`  letters  ${path.relative(process.cwd(), demo.service.config.letters.folder)}${path.sep}`)
  for (const role of roles) lines.push(`  ${role.padEnd(8)} ${demo.keys.get(role)}`)
  lines.push('', 'What to try')
  for (const one of await tries(demo)) lines.push(`  # ${one.words}`, `  ${asCurl(one, address, demo)}`)
  return lines
}

export async function tries(demo: Demo): Promise<Try[]> {
  const all: Try[] = []
  for (const step of steps) all.push(...((await step.tries?.(demo)) ?? []))
  return all
}

const quoted = (text: string) => `'${text.replaceAll("'", `'\\''`)}'`

export function asCurl({ role, method, path: at, body, idempotencyKey }: Try, address: string, demo: Demo): string {
  const header = (name: string, value: string) => `-H ${quoted(`${name}: ${value}`)}`
  return [
    'curl -s',
    ...(method === 'POST' ? ['-X POST'] : []),
    quoted(address + at),
    header('Authorization', `Bearer ${demo.keys.get(role)}`),
    ...(idempotencyKey ? [header('Idempotency-Key', `"${idempotencyKey}"`)] : []),
    ...(body ? [header('Content-Type', 'application/json'), `-d ${quoted(JSON.stringify(body))}`] : []),
  ].join(' ')
}
