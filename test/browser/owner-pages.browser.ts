import { simpleParser } from 'mailparser'
import type { Browser, BrowserContext, Page } from 'playwright-core'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import { type HandingOver, openHandingOver } from '../../src/features/notices/handing-over.ts'
import { texts } from '../../src/letters/texts/index.ts'
import { languages } from '../../src/letters/texts/sentences.ts'
import { type Relay, startRelay } from '../faults/delivery/relay.ts'
import { ownerWithWatch, queueLetter } from '../letters/book.ts'
import { due } from '../letters/sample.ts'
import { type House, openHouse } from '../support/house.ts'
import { lettering, openChromium, overflow, picture, telephone } from './chromium.ts'

/** What an owner does from a letter, on a narrow telephone without scripts, with what lands in the book. */

let relay: Relay
let house: House
let letters: HandingOver
let browser: Browser
let context: BrowserContext
let page: Page

beforeAll(async () => {
  browser = await openChromium()
  relay = await startRelay()
  house = await openHouse({
    env: {
      SMTP_URL: relay.url,
      LETTERS_FROM: 'Lindholm Watch Service <letters@centre.example>',
      PUBLIC_URL: 'https://watches.centre.example',
      CENTRE_NAME: 'Lindholm Watch Service',
      CENTRE_ADDRESS: 'Quay 4, 9000 Marrenhaven',
      CENTRE_PHONE: '+41 44 668 18 00',
      TRUSTED_PROXIES: '127.0.0.1',
    },
  })
  letters = openHandingOver(house.service, async () => new Map())
})
afterAll(async () => {
  await browser?.close()
  await letters?.close()
  await house?.close()
  await relay?.close()
})

let visitor = 0
beforeEach(async () => {
  // each visit from an address of its own: the pages allow only so many tries from one
  visitor++
  context = await telephone(browser, {
    javaScriptEnabled: false,
    extraHTTPHeaders: { 'x-forwarded-for': `198.51.100.${visitor}` },
  })
  page = await context.newPage()
})
afterEach(() => context.close())

const address = (path: string) => {
  const at = house.app.server.address()
  if (at === null || typeof at === 'string') throw new Error('the service does not listen')
  return `http://127.0.0.1:${at.port}${path}`
}

type Mailed = { ownerId: string; watchId: string; stop: string; answer: string; html: string }

/** An owner who has just had a letter, its links and its HTML as they reached the relay. */
async function mailed(
  language: string,
  kind: 'cell-change' | 'complete-service' | 'water-check' = 'water-check',
  watch: object = {},
) {
  const { ownerId, watchId } = await ownerWithWatch(house, { language, watch })
  const id = await queueLetter(house, ownerId, watchId, {
    parts: [due({ watchId, recordId: ownerId, kind })],
    language,
  })
  await letters.round()
  const kept = relay.kept.find((letter) => letter.messageId === id)
  if (!kept) throw new Error('the letter did not arrive')
  const { html } = await simpleParser(kept.raw)
  if (!html) throw new Error('the letter has no HTML')
  const link = (path: string) => new RegExp(`${path}/[A-Za-z0-9_-]{43}`).exec(html)?.[0] ?? ''
  return { ownerId, watchId, html, stop: link('/your-letters'), answer: link('/your-watches') } satisfies Mailed
}

const counted = async () => {
  const { rows } = await house.database.pool.query(
    `select (select count(*) from watch_event)::int as events, (select count(*) from wear_statement)::int as wear,
       (select count(*) from ownership)::int as owners, (select count(*) from notice_choice)::int as choices,
       (select count(*) from owner_answer)::int as answers, (select count(*) from task)::int as tasks,
       (select max(reckoned_at) from obligation) as reckoned`,
  )
  return rows[0]
}
const answers = async (ownerId: string): Promise<{ answer: string; details: object }[]> => {
  const { rows } = await house.database.pool.query(
    'select answer, details from owner_answer where owner_id = $1 order by id',
    [ownerId],
  )
  return rows
}

/** The form that says a thing about a watch, by the words on its button. */
const form = (words: string) => page.locator('form', { has: page.getByRole('button', { name: words, exact: true }) })
const press = async (words: string) => {
  await page.getByRole('button', { name: words, exact: true }).click()
  await page.getByRole('status').waitFor()
}

describe.each(['de', 'fr'] as const)('in %s', (language) => {
  const t = texts[language].page

  test('the pages fit a telephone, nothing but the page itself is fetched, and looking changes nothing', async () => {
    const { stop, answer } = await mailed(language, 'water-check', {
      model: 'Unterwasserchronographensondermodellmitdatumsschnellverstellung',
    })
    const before = await counted()
    for (const [name, path] of [
      ['watches', answer],
      ['letters', stop],
    ] as const) {
      const asked: string[] = []
      page.on('request', (request) => asked.push(`${request.method()} ${new URL(request.url()).pathname}`))
      const response = await page.goto(address(path))
      expect(response?.status()).toBe(200)
      expect(await page.locator('html').getAttribute('lang')).toBe(language)
      expect(await overflow(page)).toEqual({ by: 0, what: [] })
      // WCAG 2.2, success criterion 2.5.5: targets of at least 44 by 44 CSS pixels
      for (const button of await page.getByRole('button').all()) {
        const box = await button.boundingBox()
        expect([box?.width, box?.height].every((size) => (size ?? 0) >= 44)).toBe(true)
      }
      expect(asked.filter((one) => !one.endsWith('/favicon.ico'))).toEqual([`GET ${path}`])
      await picture(page, `${name}-${language}`)
      await page.reload()
      page.removeAllListeners('request')
    }
    expect(await counted()).toEqual(before)
  })

  test('"it was done elsewhere" with a day', async () => {
    const { answer, watchId, ownerId } = await mailed(language)
    await page.goto(address(answer))
    const done = form(t.doneButton)
    await done.getByRole('combobox').selectOption('water-check')
    await done.locator('input[type=date]').fill('2026-11-20')
    await press(t.doneButton)
    expect(await page.getByRole('status').textContent()).toBe(t.doneThanks)
    expect(await overflow(page)).toEqual({ by: 0, what: [] })
    await picture(page, `thanks-${language}`)
    expect(await answers(ownerId)).toEqual([
      { answer: 'done-elsewhere', details: { kind: 'water-check', on: '2026-11-20' } },
    ])
    const { rows } = await house.database.pool.query(
      'select event, happened, source from watch_event where watch_id = $1',
      [watchId],
    )
    expect(rows).toEqual([{ event: 'water-test', happened: '2026-11-20', source: 'owner-word' }])
  })

  test('without its day the form does not leave the page; a day to come is refused in words', async () => {
    const { answer, ownerId } = await mailed(language)
    await page.goto(address(answer))
    await page.getByRole('button', { name: t.doneButton, exact: true }).click()
    expect(await form(t.doneButton).locator('input:invalid').count()).toBe(1)
    await page
      .locator('input[type=date]')
      .first()
      .evaluate((input) => input.removeAttribute('max'))
    await form(t.doneButton).locator('input[type=date]').fill('2027-01-01')
    await page.getByRole('button', { name: t.doneButton, exact: true }).click()
    expect(await page.getByRole('alert').textContent()).toBe(t.dayInFuture)
    await picture(page, `refused-${language}`)
    expect(await answers(ownerId)).toEqual([])
  })

  test('"never in water" and "only now and then"', async () => {
    const { answer, watchId, ownerId } = await mailed(language)
    await page.goto(address(answer))
    await press(t.neverInWaterButton)
    expect(await page.getByRole('status').textContent()).toBe(t.wearThanks)
    await page.getByRole('link', { name: t.back }).click()
    await press(t.nowAndThenButton)
    expect((await answers(ownerId)).map((one) => one.answer)).toEqual(['never-in-water', 'now-and-then'])
    const { rows } = await house.database.pool.query(
      'select daily, water, vibration, source from wear_statement where watch_id = $1 order by id desc limit 1',
      [watchId],
    )
    expect(rows).toEqual([{ daily: 'no', water: 'never', vibration: 'no', source: 'owner-word' }])
  })

  test('"I have sold it"', async () => {
    const { answer, watchId } = await mailed(language)
    await page.goto(address(answer))
    await press(t.soldButton)
    expect(await page.getByRole('status').textContent()).toBe(t.soldThanks)
    const { body } = await house.as('counter').get(`/v1/watches/${watchId}`).expect(200)
    expect(body.ownerId).toBe(null)
    // the watch is no longer this owner's to speak of
    await page.getByRole('link', { name: t.back }).click()
    await page.getByText(t.noWatch).waitFor()
    expect(await page.getByRole('button').count()).toBe(0)
    await picture(page, `no-watch-${language}`)
  })

  test('a day is proposed', async () => {
    const { answer, ownerId } = await mailed(language)
    await page.goto(address(answer))
    await form(t.proposeButton).locator('input[type=date]').fill('2026-12-03')
    await press(t.proposeButton)
    expect(await page.getByRole('status').textContent()).toBe(t.proposedThanks(texts[language].day('2026-12-03')))
    const { rows } = await house.database.pool.query(
      `select role, kind from task where owner_id = $1 and done_at is null`,
      [ownerId],
    )
    expect(rows).toEqual([{ role: 'counter', kind: 'proposed-day' }])
  })

  test('letters are stopped for one kind, then for all, and begun again', async () => {
    const { stop, ownerId } = await mailed(language)
    const choices = async () => {
      const { body } = await house.as('counter').get(`/v1/owners/${ownerId}`).expect(200)
      return Object.fromEntries(
        body.noticeChoices.map((one: { kind: string; choice: string }) => [one.kind, one.choice]),
      )
    }
    await page.goto(address(stop))
    await page
      .locator('fieldset', { has: page.getByText(t.choice['water-check'], { exact: true }) })
      .getByLabel(t.doNotWrite)
      .check()
    await press(t.save)
    expect(await page.getByRole('status').textContent()).toBe(t.saved)
    expect(await choices()).toEqual({ 'complete-service': 'yes', 'water-check': 'no', 'cell-change': 'yes' })
    await page.getByRole('link', { name: t.back }).click()
    await press(t.stopAll)
    expect(await page.getByRole('status').textContent()).toBe(t.stopped)
    expect(await choices()).toEqual({ 'complete-service': 'no', 'water-check': 'no', 'cell-change': 'no' })
    await page.getByRole('link', { name: t.back }).click()
    await page
      .locator('fieldset', { has: page.getByText(t.choice['cell-change'], { exact: true }) })
      .getByLabel(t.writeToMe)
      .check()
    await press(t.save)
    expect(await choices()).toEqual({ 'complete-service': 'no', 'water-check': 'no', 'cell-change': 'yes' })
  })
})

test('a link that leads nowhere says so in the language the browser asks for', async () => {
  const german = await telephone(browser, { locale: 'de-DE', javaScriptEnabled: false })
  const other = await german.newPage()
  const response = await other.goto(address(`/your-watches/${'A'.repeat(43)}`))
  expect(response?.status()).toBe(404)
  expect(await other.getByRole('heading').textContent()).toBe(texts.de.page.notFoundTitle)
  expect(await overflow(other)).toEqual({ by: 0, what: [] })
  await picture(other, 'not-found-de')
  await german.close()
})

test.each(languages)('the letter in %s fits a telephone and fetches nothing', async (language) => {
  const { ownerId, watchId } = await ownerWithWatch(house, {
    language,
    name: 'Wilhelmina-Konstanze Oberstrasser-Underhill',
    watch: {
      model: 'Tidal Chronometer 38 Annual-Service-Edition',
      // typed without a single space, as imported lists have it
      description: 'Edelstahlgehäusemitblauemzifferblattundverschraubtembodenvoninnenentspiegelt',
    },
  })
  const parts = (['water-check', 'complete-service', 'cell-change'] as const).map((kind) =>
    due({ watchId, recordId: ownerId, kind }),
  )
  const id = await queueLetter(house, ownerId, watchId, { parts, language })
  await letters.round()
  const kept = relay.kept.find((letter) => letter.messageId === id)
  const { html } = await simpleParser(kept?.raw ?? '')
  const asked: string[] = []
  page.on('request', (request) => asked.push(request.url()))
  await page.setContent(html || '')
  expect(await page.getByRole('heading').count()).toBe(1)
  expect(await overflow(page)).toEqual({ by: 0, what: [] })
  expect(asked).toEqual([])
  expect(await lettering(page)).toBeGreaterThanOrEqual(16)
  await picture(page, `letter-${language}`)
})
