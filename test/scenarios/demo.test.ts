import { readdir, readFile } from 'node:fs/promises'
import path from 'node:path'
import { simpleParser } from 'mailparser'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { asCurl, runSteps, tries } from '../../seed/account.ts'
import { calibres } from '../../seed/invented/calibres.ts'
import { bookOf, inventCentre } from '../../seed/invented/centre.ts'
import { guidance } from '../../seed/invented/guidance.ts'
import { type Until, visits } from '../../seed/invented/visits.ts'
import { type Demo, idOf, newDemo } from '../../seed/steps/step.ts'
import type { Day } from '../../src/domain/day.ts'
import { defaultHouseRules } from '../../src/domain/house-rules.ts'
import type { ImportedWatch } from '../../src/features/imports/imports.ts'
import { runNight } from '../../src/features/nightly-runs/run.ts'
import { type House, openHouse } from '../support/house.ts'

/** The demo's steps, on a small centre: through the same use cases, into a database of the test's own. */
const today = '2026-11-25' as Day
let house: House
let demo: Demo
const printed: string[] = []

beforeAll(async () => {
  house = await openHouse({ now: today, env: { CENTRE_COUNTRY: 'GB' } })
  demo = newDemo(house.service, today, inventCentre(3, today, { owners: 330, watches: 430, cases: 0.5 }))
  await runSteps(demo, (line) => printed.push(line))
})
afterAll(() => house.close())

describe('the demo, built small', () => {
  test('puts everybody and everything on file, and every watch has all four kinds reckoned on the day', async () => {
    const book = bookOf(demo.centre.groups)
    const { rows } = await house.database.pool.query(
      `select (select count(*) from owner) as owners, (select count(*) from watch) as watches, (select count(*) from calibre) as calibres,
         (select count(*) from obligation where reckoned_on = $1 and watch_id not in (select watch_id from ticket)) as obligations,
         (select count(*) from watch_event where ticket_id is null) + (select count(*) from wear_statement) + (select count(*) from watchmaker_note) as facts,
         (select count(*) from owner where merged_into is not null) as merged,
         (select count(*) from watch where owner_id is null) as unowned`,
      [today],
    )
    expect(rows[0]).toEqual({
      owners: book.owners.length + visits.length,
      watches: book.watches.length + visits.length,
      calibres: calibres.length,
      obligations: 4 * book.watches.length,
      facts: book.watches.reduce(
        (sum, watch) => sum + (watch.events?.length ?? 0) + (watch.wear?.length ?? 0) + (watch.notes?.length ?? 0),
        0,
      ),
      merged: demo.centre.groups.filter((group) => group.merge).length,
      unowned: book.watches.filter((watch) => watch.ownerships?.at(-1)?.owner === null).length,
    })
    expect(printed.join('\n')).toContain(`${book.watches.length} watches`)
  })

  test('comes to the dates that the stateless reckoning gives for the same facts', async () => {
    const watches = bookOf(demo.centre.groups).watches.filter((watch) => !watch.ownerships)
    const { body: rules } = await house.as('manager').get('/v1/house-rules').expect(200)
    const inForce: Record<string, number> = {}
    for (const rule of rules.items) if (rule.key in defaultHouseRules) inForce[rule.key] = rule.value
    const differing: unknown[] = []
    for (const watch of watches.filter((_, at) => at % 3 === 0)) {
      const asked = await house.as('counter').post('/v1/reckonings', stateless(watch, inForce)).expect(200)
      const told = await house
        .as('counter')
        .get(`/v1/watches/${idOf(demo.watches, watch.ref)}`)
        .expect(200)
      const short = (all: { kind: string; rule: string; dueOn: string }[]) =>
        all.map(({ kind, rule, dueOn }) => `${kind} ${rule} ${dueOn}`)
      if (short(asked.body.obligations).join() !== short(told.body.obligations).join())
        differing.push({ watch, asked: short(asked.body.obligations), told: short(told.body.obligations) })
    }
    expect(differing).toEqual([])
  })

  test('writes that night, once, and not to the dead, the refusing, the unasked or those without an address', async () => {
    const night = await house.database.pool.query(
      `select owner_id from notice where run_on = $1 and state <> 'withdrawn'`,
      [today],
    )
    const written = new Set(night.rows.map((row) => row.owner_id))
    expect(written.size).toBeGreaterThan(10)
    // one letter to an owner and night
    expect(night.rowCount).toBe(written.size)
    const notToBeWritten = bookOf(demo.centre.groups).owners.filter(
      (owner) =>
        owner.deceased !== undefined ||
        owner.contacts.length === 0 ||
        (owner.noticeChoices ?? []).every((choice) => choice.choice !== 'yes') ||
        owner.standing === 'in-dispute' ||
        owner.standing === 'do-not-serve',
    )
    expect(notToBeWritten.length).toBeGreaterThan(5)
    expect(notToBeWritten.filter((owner) => written.has(idOf(demo.owners, owner.ref)))).toEqual([])
    const former = bookOf(demo.centre.groups).watches.flatMap((watch) => watch.ownerships?.slice(0, -1) ?? [])
    expect(former.length).toBeGreaterThan(0)
    expect(former.filter((one) => written.has(demo.owners.get(one.owner ?? '')))).toEqual([])
    const merged = demo.centre.groups.flatMap((group) => group.merge ?? [])
    expect(merged.filter((one) => written.has(demo.owners.get(one.record)))).toEqual([])
    // held back, not forgotten: they would have been written to
    const held = await house.database.pool.query(
      'select distinct unnest(reasons) as reason from withheld_item where run_on = $1',
      [today],
    )
    expect(held.rows.map((row) => row.reason)).toEqual(
      expect.arrayContaining(['owner-deceased', 'letters-refused', 'not-asked', 'no-address', 'owner-unknown']),
    )
    expect(await runNight(house.service, today)).toBeNull()
  })

  test('leaves each letter as one file that a mail program reads, to an address of its owner, without the whole number', async () => {
    const { folder } = house.service.config.letters
    const files = (await readdir(folder)).filter((file) => file.endsWith('.eml'))
    const { rows } = await house.database.pool.query(
      `select n.id, n.state, array_agg(distinct c.value) as addresses from notice n
       join contact c on c.owner_id = n.owner_id and c.means = 'e-mail' group by n.id`,
    )
    expect(rows.length).toBeGreaterThan(10)
    expect(files.sort()).toEqual(rows.map((row) => `${row.id}.eml`).sort())
    expect(rows.filter((row) => row.state !== 'sent')).toEqual([])
    const serials = bookOf(demo.centre.groups).watches.flatMap((watch) => watch.serial ?? [])
    for (const row of rows) {
      // mailparser reads the message as RFC 5322 and the MIME RFCs have it
      const mail = await simpleParser(await readFile(path.join(folder, `${row.id}.eml`)))
      const to = [mail.to].flat()[0]?.text ?? ''
      expect(
        row.addresses.filter((address: string) => to.includes(address)),
        to,
      ).toHaveLength(1)
      expect(serials.filter((serial) => mail.text?.includes(serial))).toEqual([])
    }
  })

  test('has a ticket in every state, each with its next actor, and a shut gate that says what opens it', async () => {
    const { rows } = await house.database.pool.query<{ step: string; ended: string | null; watch: string }>(
      `select t.step, t.ended, w.model as watch, t.next_actor from ticket t join watch w on w.id = t.watch_id order by t.created_at, t.id`,
    )
    const standing = Object.fromEntries(rows.map((row) => [row.watch, row.ended ?? row.step]))
    const steps: Record<Until, string> = {
      'booked in': 'booked-in',
      priced: 'priced',
      'waiting for the owner': 'awaiting-yes',
      'at the bench': 'on-the-bench',
      'opened again after its test': 'on-the-bench',
      'under observation': 'under-observation',
      ready: 'ready',
      'handed over with its guarantee': 'handed-over',
      'back again under guarantee': 'on-the-bench',
      'not fetched': 'ready',
    }
    expect(rows).toHaveLength(visits.length + 1)
    for (const visit of visits) expect(standing[visit.watch.model], visit.until).toBe(steps[visit.until])
    const numberOf = async (until: Until) => {
      const serial = visits.find((visit) => visit.until === until)?.watch.serial
      const found = await house.database.pool.query<{ number: string }>(
        'select t.number from ticket t join watch w on w.id = t.watch_id where w.serial = $1 order by t.id limit 1',
        [serial],
      )
      return found.rows[0]?.number
    }
    const opened = await house.as('bench').get(`/v1/tickets/${await numberOf('opened again after its test')}/gates`)
    expect(opened.body.gates).toContainEqual(
      expect.objectContaining({
        gate: 'G11',
        state: 'shut',
        opens: [expect.stringContaining('let it pass the test')],
      }),
    )
    const first = await house.as('counter').get(`/v1/tickets/${await numberOf('back again under guarantee')}`)
    expect(first.body.comebackCost).toEqual([{ amount: 1192, currency: 'EUR' }])
    const unclaimed = await house.as('manager').get('/v1/reports/unclaimed-watches').expect(200)
    expect(unclaimed.body.items).toMatchObject([{ stage: 'registered-due', days: 93 }])
  })

  test('prints requests to try that are answered, and answered the same when pasted twice', async () => {
    const all = await tries(demo)
    expect(all.length).toBeGreaterThanOrEqual(4)
    const address = house.app.listeningOrigin
    for (const one of all) {
      const send = () =>
        fetch(address + one.path, {
          method: one.method,
          headers: {
            authorization: `Bearer ${demo.keys.get(one.role)}`,
            ...(one.idempotencyKey && { 'idempotency-key': `"${one.idempotencyKey}"` }),
            ...(one.body && { 'content-type': 'application/json' }),
          },
          ...(one.body && { body: JSON.stringify(one.body) }),
        })
      const [first, second] = [await send(), await send()]
      expect([first.status, second.status], one.words).toEqual(one.idempotencyKey ? [201, 201] : [200, 200])
      expect(await second.json()).toEqual(await first.json())
    }
  })

  test('quotes its curl lines for the shell', () => {
    const line = asCurl(
      {
        words: '',
        role: 'counter',
        method: 'POST',
        path: '/x?a=1&b=2',
        body: { reason: "owner's word" },
        idempotencyKey: 'k',
      },
      'http://127.0.0.1:1',
      demo,
    )
    // POSIX.1-2024 Shell Command Language 2.2.2: a single quote cannot stand between single quotes
    expect(line).toContain(`-d '{"reason":"owner'\\''s word"}'`)
    expect(line).toContain(`-H 'Idempotency-Key: "k"'`)
    expect(line).toContain(`'http://127.0.0.1:1/x?a=1&b=2'`)
  })
})

function stateless(watch: ImportedWatch, rules: Record<string, number>) {
  const calibre = calibres.find((one) => one.name === watch.calibre)
  const said = guidance.filter((one) =>
    one.calibre ? one.calibre === watch.calibre : one.maker === watch.maker && one.model === watch.model,
  )
  const { source: _, ...wear } = watch.wear?.at(-1) ?? { source: 'owner-word' }
  return {
    on: today,
    rules,
    watch: {
      kind: watch.kind,
      beatsPerHour: calibre?.beatsPerHour ?? null,
      waterClaim: watch.waterClaim,
      made: watch.made,
      sold: watch.sold,
      firstSeen: watch.firstSeen,
    },
    ...(watch.wear && { wear }),
    guidance: [...said.filter((one) => one.calibre), ...said.filter((one) => !one.calibre)].map(
      ({ obligation, months, upToMonths, inForceFrom, learned }) => ({
        obligation,
        months,
        upToMonths,
        inForceFrom,
        learned,
      }),
    ),
    notes: watch.notes?.map(({ obligation, months, on }) => ({ obligation, months, on })),
    history: watch.events?.map((event) => {
      const { note: _n, ...rest } = event
      return { ...rest, learned: rest.learned ?? today }
    }),
  }
}
