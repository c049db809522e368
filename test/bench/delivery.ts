import { type ChildProcess, fork } from 'node:child_process'
import { once } from 'node:events'
import { mkdtemp, rm } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import { fileURLToPath, pathToFileURL } from 'node:url'
import nodemailer from 'nodemailer'
import { readConfig } from '../../src/config.ts'
import { startEmbedded } from '../../src/db/embedded.ts'
import { migrate } from '../../src/db/migrate.ts'
import { type Database, openDatabase } from '../../src/db/open.ts'
import type { Day } from '../../src/domain/day.ts'
import { openHandingOver } from '../../src/features/notices/handing-over.ts'
import type { Service } from '../../src/http/service.ts'
import { calendarFile } from '../../src/letters/calendar.ts'
import { asHtml, asText } from '../../src/letters/layout.ts'
import { writeLetter } from '../../src/letters/write.ts'
import { makeLog } from '../../src/log.ts'
import { contents, due } from '../letters/sample.ts'

/**
 * Letters to a local sink: the whole hand-over (claimed, read from the book, fixed, written, marked after the 354,
 * recorded; fsync on) against a bare nodemailer pool, tuned, that is given the same letters ready written. Both use five
 * connections; the sink is a process of its own; rounds alternate, and the median of the ratios is what counts.
 */
const LETTERS = Number(process.env.BENCH_LETTERS ?? 2000)
const ROUNDS = 3
const CONNECTIONS = 5

async function startSink(): Promise<{ url: string; child: ChildProcess }> {
  const child = fork(fileURLToPath(new URL('./sink.ts', import.meta.url)), [], { execArgv: ['--import', 'tsx'] })
  const [message] = (await once(child, 'message')) as [{ url: string }]
  return { url: message.url, child }
}

async function fill(database: Database, count: number): Promise<void> {
  const part = due()
  await database.pool.query(
    `with o as (insert into owner (name, search_name, created_by) select 'Nadia Ferrant ' || n, 'nadia', 'bench' from generate_series(1, $1::int) n returning id),
      c as (insert into contact (owner_id, means, value, search_value, created_by)
        select id, 'e-mail', 'o' || replace(id::text, '-', '') || '@owner.example', 'x', 'bench' from o),
      w as (insert into watch (maker, model, serial, description, kind, first_seen, owner_known_on, owner_id, created_by)
        select 'Brackwater', 'Tidal 38', 'BW ' || left(id::text, 8) || ' 4417', 'small steel watch with a blue dial', 'quartz', '2020-01-01', '2020-01-01', id, 'bench' from o
        returning id, owner_id),
      e as (insert into watch_event (watch_id, event, happened, source, learned, recorded_by)
        select id, 'cell-fitted', '2024-12-10', 'own-record', '2024-12-10', 'bench' from w),
      n as (insert into notice (owner_id, run_on, language, text_version, come_by, plan, trace)
        select owner_id, '2026-11-25', 'en', '1', '2026-12-10', jsonb_build_object('ownerId', owner_id, 'language', 'en', 'runOn', '2026-11-25',
          'comeBy', '2026-12-10', 'reminder', true, 'parts', jsonb_build_array($2::jsonb || jsonb_build_object('watchId', id, 'recordId', owner_id))), '{}'
        from w returning id, owner_id)
     insert into notice_item (notice_id, owner_id, watch_id, kind, cycle, round, stage, rule, booked, run_on, due_on, standing)
     select n.id, n.owner_id, w.id, 'cell-change', 'base:2024-12-10', '2026-11-25', '1', 'usual', 'letter', '2026-11-25', '2026-12-10', 'coming-up'
     from n join w on w.owner_id = n.owner_id`,
    [count, JSON.stringify(part)],
  )
  await database.pool.query('analyze')
}

/** The same letters, ready written, through a pool and nothing else. */
async function bare(url: string, count: number): Promise<number> {
  const to = new URL(url)
  const pool = nodemailer.createTransport({
    pool: true,
    host: to.hostname,
    port: Number(to.port),
    maxConnections: CONNECTIONS,
    maxMessages: Number.POSITIVE_INFINITY,
  })
  const letter = writeLetter(contents([due()]), {
    answer: 'https://centre.example/your-watches/a',
    stop: 'https://centre.example/your-letters/b',
  })
  const [text, html] = [asText(letter), asHtml(letter)]
  const calendar = calendarFile({
    uid: 'x@centre.example',
    stamp: new Date(0),
    day: '2026-12-10' as Day,
    summary: letter.calendar?.summary ?? '',
    description: letter.subject,
    location: 'Lindholm Watch Service',
  })
  const start = performance.now()
  await Promise.all(
    Array.from({ length: count }, (_, n) =>
      pool.sendMail({
        from: { name: 'Lindholm Watch Service', address: 'letters@centre.example' },
        to: { name: 'Nadia Ferrant', address: `o${n}@owner.example` },
        subject: letter.subject,
        text,
        html,
        textEncoding: 'quoted-printable',
        attachments: [
          { filename: 'come-by.ics', contentType: 'text/calendar; charset=utf-8; method=PUBLISH', content: calendar },
        ],
        headers: { 'Auto-Submitted': 'auto-generated', 'Content-Language': 'en' },
      }),
    ),
  )
  const rate = (count / (performance.now() - start)) * 1000
  pool.close()
  return rate
}

async function whole(service: Service, count: number): Promise<number> {
  await fill(service.database, count)
  const handingOver = openHandingOver(service, async () => new Map())
  const start = performance.now()
  const { sent } = await handingOver.round()
  const rate = (sent / (performance.now() - start)) * 1000
  await handingOver.close()
  if (sent !== count) throw new Error(`${sent} letters of ${count} were sent`)
  return rate
}

const median = (values: number[]) => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] as number

export async function benchDelivery(): Promise<{ name: string; ratio: number; reach: string; detail: string }[]> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'mainplate-bench-'))
  const server = await startEmbedded({ dataFolder: path.join(folder, 'data') })
  const sink = await startSink()
  try {
    await migrate(server.url)
    const reading = readConfig({
      DATA_FOLDER: folder,
      SMTP_URL: sink.url,
      LETTERS_FROM: 'Lindholm Watch Service <letters@centre.example>',
      CENTRE_NAME: 'Lindholm Watch Service',
      PUBLIC_URL: 'https://watches.centre.example',
      LOG_LEVEL: 'silent',
    })
    if (!reading.ok) throw new Error(reading.faults.join('\n'))
    const database = await openDatabase(server.url)
    const service: Service = {
      config: reading.config,
      database,
      clock: { now: () => new Date('2026-11-25T04:00:00Z') },
      log: makeLog('silent'),
    }
    // both once unmeasured: compiled code and warm caches for either
    await bare(sink.url, 300)
    await whole(service, 300)
    const rounds: { bare: number; whole: number }[] = []
    for (let round = 0; round < ROUNDS; round++)
      rounds.push({ bare: await bare(sink.url, LETTERS), whole: await whole(service, LETTERS) })
    await database.close()
    const ratio = median(rounds.map((one) => one.whole / one.bare))
    const detail = `${Math.round(median(rounds.map((one) => one.whole)))} letters/s against ${Math.round(median(rounds.map((one) => one.bare)))} of a bare pool, ${CONNECTIONS} connections`
    return [{ name: 'letters to a local sink', ratio, reach: '>= 0.7', detail }]
  } finally {
    sink.child.disconnect()
    await server.stop()
    await rm(folder, { recursive: true, force: true })
  }
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href)
  for (const line of await benchDelivery())
    console.log(`${line.name}: ${line.ratio.toFixed(2)} (${line.reach}); ${line.detail}`)
