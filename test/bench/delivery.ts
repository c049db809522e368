import { type ChildProcess, fork } from 'node:child_process'
import { once } from 'node:events'
import { readdir, readFile } from 'node:fs/promises'
import { fileURLToPath } from 'node:url'
import nodemailer from 'nodemailer'
import { readConfig } from '../../src/config.ts'
import type { Database } from '../../src/db/open.ts'
import type { Day } from '../../src/domain/day.ts'
import { stillAllowed } from '../../src/features/notices/decide-again.ts'
import { openHandingOver } from '../../src/features/notices/handing-over.ts'
import type { Service } from '../../src/http/service.ts'
import { calendarFile } from '../../src/letters/calendar.ts'
import { asHtml, asText } from '../../src/letters/layout.ts'
import { writeLetter } from '../../src/letters/write.ts'
import { makeLog } from '../../src/log.ts'
import { contents, due } from '../letters/sample.ts'
import { median, numberAsked, quick, round, tell } from '../support/bench.ts'
import { type BenchServer, withServer } from '../support/bench-server.ts'

/**
 * Letters to a local sink: the whole hand-over (claimed, looked at again, read from the book, fixed, written, marked after
 * the 354, recorded; fsync on) against a bare nodemailer pool, tuned, that is given the same letters ready written. Both
 * use the same number of connections (`--connections`); the sink is a process of its own; rounds of so many `--letters`
 * alternate. Beside it, the processor time a letter of Node, PostgreSQL and the sink: they share the cores.
 */
const LETTERS = numberAsked('letters', 2000, 100)
const ROUNDS = numberAsked('rounds', 5, 2)
const WARM = quick ? 50 : 300
const CONNECTIONS = numberAsked('connections', 10, 10)

async function startSink(): Promise<{ url: string; child: ChildProcess }> {
  const child = fork(fileURLToPath(new URL('../support/bench-sink.ts', import.meta.url)), [], {
    execArgv: ['--import', 'tsx'],
  })
  const [message] = (await once(child, 'message')) as [{ url: string }]
  return { url: message.url, child }
}

async function fill(database: Database, count: number): Promise<void> {
  const part = due()
  await database.pool.query(
    `with o as (insert into owner (name, search_name, created_by) select 'Nadia Ferrant ' || n, 'nadia', 'bench' from generate_series(1, $1::int) n returning id),
      c as (insert into contact (owner_id, means, value, search_value, created_by)
        select id, 'e-mail', a, a, 'bench' from (select id, 'o' || replace(id::text, '-', '') || '@owner.example' as a from o) o),
      w as (insert into watch (maker, model, serial, description, kind, first_seen, owner_known_on, owner_id, created_by)
        select 'Brackwater', 'Tidal 38', 'BW ' || left(id::text, 8) || ' 4417', 'small steel watch with a blue dial', 'quartz', '2020-01-01', '2020-01-01', id, 'bench' from o
        returning id, owner_id),
      e as (insert into watch_event (watch_id, event, happened, source, learned, recorded_by)
        select id, 'cell-fitted', '2024-12-10', 'own-record', '2024-12-10', 'bench' from w),
      y as (insert into notice_choice (owner_id, kind, choice, chosen_on, means, wording, recorded_by)
        select o.id, k.kind, 'yes', '2020-01-01', 'counter', '1', 'bench' from o, unnest(array['complete-service', 'water-check', 'cell-change']) k(kind)),
      b as (insert into obligation (watch_id, kind, rule, base_on, base_from, months, due_on, notices_due_on, coming_up_from, overdue_from, stop_on, cycle, reckoned_on)
        select id, 'cell-change', 'usual', '2024-12-10', 'own-record', 24, '2026-12-10', '2026-12-10', '2026-10-26', '2027-01-10', '2027-06-10', 'base:2024-12-10', '2026-11-25' from w),
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

/** Processor milliseconds since they began, of this process, of PostgreSQL's and of the sink; null where /proc is not kept. */
type Spent = { node: number; postgres: number | null; sink: number | null }

/** Ticks of a process and of those it has waited for; 10 ms each on Linux, as `getconf CLK_TCK` says. */
async function ticksOf(pid: number): Promise<{ parent: number; ticks: number } | null> {
  const stat = await readFile(`/proc/${pid}/stat`, 'utf8').catch(() => null)
  const fields = stat?.slice(stat.lastIndexOf(')') + 2).split(' ')
  if (!fields) return null
  return { parent: Number(fields[1]), ticks: fields.slice(11, 15).reduce((sum, field) => sum + Number(field), 0) }
}

async function spent(postmaster: number, sink: number): Promise<Spent> {
  const { userCPUTime, systemCPUTime } = process.resourceUsage()
  const pids = (await readdir('/proc').catch(() => [])).map(Number).filter((pid) => pid > 0)
  const all = await Promise.all(pids.map(async (pid) => ({ pid, ...(await ticksOf(pid)) })))
  const server = all.filter((one) => one.pid === postmaster || one.parent === postmaster)
  return {
    node: (userCPUTime + systemCPUTime) / 1000,
    postgres: server.length === 0 ? null : server.reduce((sum, one) => sum + (one.ticks ?? 0) * 10, 0),
    sink: ((await ticksOf(sink))?.ticks ?? 0) * 10,
  }
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
  const handingOver = openHandingOver(service, stillAllowed)
  const start = performance.now()
  const { sent } = await handingOver.round()
  const rate = (sent / (performance.now() - start)) * 1000
  await handingOver.close()
  if (sent !== count) throw new Error(`${sent} letters of ${count} were sent`)
  return rate
}

type Round = { bare: number; whole: number; bareSpent: Spent; wholeSpent: Spent }

async function delivering({ database, folder, postmasterFile }: BenchServer): Promise<void> {
  const sink = await startSink()
  try {
    const reading = readConfig({
      DATA_FOLDER: folder,
      SMTP_URL: sink.url,
      SMTP_CONNECTIONS: String(CONNECTIONS),
      LETTERS_FROM: 'Lindholm Watch Service <letters@centre.example>',
      CENTRE_NAME: 'Lindholm Watch Service',
      PUBLIC_URL: 'https://watches.centre.example',
      LOG_LEVEL: 'silent',
    })
    if (!reading.ok) throw new Error(reading.faults.join('\n'))
    const service: Service = {
      config: reading.config,
      database,
      clock: { now: () => new Date('2026-11-25T04:00:00Z') },
      log: makeLog('silent'),
    }
    const postmaster = Number((await readFile(postmasterFile, 'utf8')).split('\n')[0])
    const timed = async (work: () => Promise<number>, count: number): Promise<[number, Spent]> => {
      const before = await spent(postmaster, sink.child.pid ?? 0)
      const rate = await work()
      const after = await spent(postmaster, sink.child.pid ?? 0)
      const each = (a: number | null, b: number | null) => (a === null || b === null ? null : (b - a) / count)
      const of = (key: keyof Spent) => each(before[key], after[key])
      return [rate, { node: of('node') ?? 0, postgres: of('postgres'), sink: of('sink') }]
    }
    // both once unmeasured: compiled code and warm caches for either
    await bare(sink.url, WARM)
    await fill(database, WARM)
    await whole(service, WARM)
    const rounds: Round[] = []
    for (let round = 0; round < ROUNDS; round++) {
      const [bareRate, bareSpent] = await timed(() => bare(sink.url, LETTERS), LETTERS)
      await fill(database, LETTERS)
      await database.pool.query('checkpoint')
      const [wholeRate, wholeSpent] = await timed(() => whole(service, LETTERS), LETTERS)
      rounds.push({ bare: bareRate, whole: wholeRate, bareSpent, wholeSpent })
    }
    /** processor milliseconds a letter, the middle round */
    const cost = (key: 'bareSpent' | 'wholeSpent') => {
      const of = (part: keyof Spent) => {
        const known = rounds.map((one) => one[key][part]).filter((value) => value !== null)
        return known.length === 0 ? null : round(median(known))
      }
      return { node: of('node'), postgres: of('postgres'), sink: of('sink') }
    }
    tell({
      work: 'letters to a local sink',
      unit: '/s',
      size: LETTERS,
      of: 'letters a round',
      baseline: rounds.map((one) => one.bare),
      ours: rounds.map((one) => one.whole),
      reach: { ratioAtLeast: 0.7 },
      promisedAt: quick ? 0 : LETTERS,
      more: { connections: CONNECTIONS, processorMsALetter: { whole: cost('wholeSpent'), bare: cost('bareSpent') } },
    })
  } finally {
    sink.child.disconnect()
  }
}

await withServer({}, delivering)
