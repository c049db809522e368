import { createHash, randomUUID } from 'node:crypto'
import { readdir, readFile } from 'node:fs/promises'
import path from 'node:path'
import { brotliCompressSync, deflateSync, gzipSync } from 'node:zlib'
import fc from 'fast-check'
import sharp from 'sharp'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { ownerWithWatch, queueLetter } from '../letters/book.ts'
import { openShop, type Shop, upload } from './tickets/shop.ts'

/**
 * What is sent as a picture and is none, or is more than it seems: bombs, files of two kinds, files cut short or changed,
 * names that try to leave their folder. Each is a clear refusal or a picture that decodes; nothing is written by a refusal,
 * and memory stays within bounds. PNG chunks are laid out by hand as of the W3C's PNG specification.
 */
let shop: Shop
let picture: Record<'png' | 'jpeg' | 'webp', Buffer>
beforeAll(async () => {
  // each thread has buffers of its own, and there are as many as the machine has cores
  sharp.concurrency(1)
  shop = await openShop()
  const noise = { type: 'gaussian', mean: 120, sigma: 40 } as const
  const some = sharp({ create: { width: 48, height: 40, channels: 3, background: 'red', noise } })
  picture = {
    png: await some.clone().png().toBuffer(),
    jpeg: await some.clone().jpeg().toBuffer(),
    webp: await some.clone().webp().toBuffer(),
  }
})
afterAll(() => shop.close())

const folder = () => path.join(shop.house.service.config.dataFolder, 'pictures')
const stored = async () =>
  (await readdir(folder(), { recursive: true, withFileTypes: true }).catch(() => [])).filter((one) => one.isFile())
const onFile = async () => {
  const { rows } = await shop.house.database.pool.query(
    `select (select count(*)::int from picture_file) as files, (select count(*)::int from idempotency_key) as keys, (select count(*)::int from owner) as owners`,
  )
  return { ...rows[0], stored: (await stored()).length }
}
const send = (content: Buffer, name = 'watch.png', type = 'image/png') =>
  upload(shop.house, shop.counter, content, name, type)

async function refused(
  call: () => PromiseLike<{ status: number; type: string; body: { type?: string; detail?: string } }>,
) {
  const before = await onFile()
  const answer = await call()
  expect(answer.type, JSON.stringify(answer.body)).toBe('application/problem+json')
  expect(answer.status).toBeGreaterThanOrEqual(400)
  expect(answer.status).toBeLessThan(500)
  expect(await onFile()).toEqual(before)
  return answer
}

const crcTable = Array.from({ length: 256 }, (_, n) => {
  let c = n
  for (let k = 0; k < 8; k++) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1
  return c >>> 0
})
const crc = (bytes: Buffer) => {
  let c = 0xffffffff
  for (const byte of bytes) c = (crcTable[(c ^ byte) & 255] as number) ^ (c >>> 8)
  return (c ^ 0xffffffff) >>> 0
}
const number = (value: number) => {
  const four = Buffer.alloc(4)
  four.writeUInt32BE(value)
  return four
}
const chunk = (name: string, data: Buffer) => {
  const body = Buffer.concat([Buffer.from(name, 'latin1'), data])
  return Buffer.concat([number(data.length), body, number(crc(body))])
}
const signature = Buffer.from([137, 80, 78, 71, 13, 10, 26, 10])
type Layout = {
  width: number
  height: number
  depth?: number
  colour?: number
  interlaced?: boolean
  data: Buffer
  more?: Buffer[]
}
const png = ({ width, height, depth = 8, colour = 2, interlaced = false, data, more = [] }: Layout) =>
  Buffer.concat([
    signature,
    chunk(
      'IHDR',
      Buffer.concat([number(width), number(height), Buffer.from([depth, colour, 0, 0, interlaced ? 1 : 0])]),
    ),
    ...more,
    chunk('IDAT', data),
    chunk('IEND', Buffer.alloc(0)),
  ])
const nothing = (bytes: number) => deflateSync(Buffer.alloc(bytes), { level: 9 })

/** XML that grows tenfold with each of nine entities. */
const laughs = Buffer.from(
  `<?xml version="1.0"?><!DOCTYPE s [<!ENTITY a "aaaaaaaaaa">${[...'bcdefghi']
    .map((name, n) => `<!ENTITY ${name} "${`&${'abcdefgh'[n]};`.repeat(10)}">`)
    .join('')}]><svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><text>&i;</text></svg>`,
)
const zip = Buffer.concat([Buffer.from('PK\u0003\u0004', 'latin1'), deflateSync(Buffer.alloc(100_000))])

describe('bombs and files that are no picture', () => {
  test.each<[string, () => Buffer | Promise<Buffer>, RegExp]>([
    [
      'a PNG of 60,000 by 60,000 in three kilobytes',
      () => png({ width: 60_000, height: 60_000, data: nothing(3_000_000) }),
      /too many pixels/,
    ],
    [
      'a PNG of two thousand million pixels a side',
      () => png({ width: 2 ** 31 - 1, height: 2 ** 31 - 1, data: nothing(10) }),
      /picture/,
    ],
    [
      'an interlaced PNG that unpacks to 400 MB',
      () => png({ width: 7000, height: 7000, depth: 16, colour: 6, interlaced: true, data: nothing(1_000_000) }),
      /interlaced and too large/,
    ],
    ['a PNG whose data ends early', () => png({ width: 4000, height: 4000, data: nothing(100) }), /damaged/],
    ['a PNG with no width', () => png({ width: 0, height: 10, data: nothing(10) }), /not a JPEG/],
    [
      'a JPEG that says it is 65,500 by 65,500',
      () => {
        const large = Buffer.from(picture.jpeg)
        const frame = large.indexOf(Buffer.from([0xff, 0xc0]))
        large.writeUInt16BE(65_500, frame + 5)
        large.writeUInt16BE(65_500, frame + 7)
        return large
      },
      /too many pixels/,
    ],
    ['XML that grows a thousand million times', () => laughs, /not a JPEG/],
    ['a ZIP', () => zip, /not a JPEG/],
    ['a ZIP that calls itself PNG in its first bytes', () => Buffer.concat([signature, zip]), /not a JPEG|damaged/],
    ['gzip around a picture', () => gzipSync(picture.png), /not a JPEG/],
    ['a GIF that is a script, too', () => Buffer.from('GIF89a/*aaaa*/=1;alert(1)'), /not a JPEG/],
    [
      'HTML before a picture',
      () => Buffer.concat([Buffer.from('<script>alert(1)</script>'), picture.jpeg]),
      /not a JPEG/,
    ],
    ['a PDF before a picture', () => Buffer.concat([Buffer.from('%PDF-1.7\n'), picture.png]), /not a JPEG/],
    ['a TIFF', () => sharp(picture.png).tiff().toBuffer(), /not a JPEG/],
    [
      'a picture that moves',
      () =>
        sharp([picture.png, picture.webp], { join: { animated: true } })
          .webp()
          .toBuffer(),
      /moves/,
    ],
  ])('%s', async (_title, content, why) => {
    const bytes = await content()
    expect((await refused(() => send(bytes))).body.detail).toMatch(why)
  })

  test('twelve large ones at once are read one after the other', async () => {
    // within the bounds each, 50 MB unpacked: side by side it would be 600 (two rows more than seven passes have make it surely whole)
    const interlaced = png({
      width: 2500,
      height: 2500,
      depth: 16,
      colour: 6,
      interlaced: true,
      data: nothing((2500 * 8 + 8) * 2502),
    })
    let most = 0
    // one number alone: a picture may pass from the queue into work between the reading of both
    const watch = () => {
      most = Math.max(most, sharp.counters().process)
    }
    sharp.queue.on('change', watch)
    try {
      const answers = await Promise.all(Array.from({ length: 12 }, () => send(interlaced)))
      expect(new Set(answers.map((answer) => answer.status))).toEqual(new Set([201]))
    } finally {
      sharp.queue.off('change', watch)
    }
    expect(most).toBeLessThan(2)
  })

  test.each([
    [
      'a text chunk that unpacks to 200 MB',
      'zTXt',
      Buffer.concat([Buffer.from('Comment\0\0', 'latin1'), nothing(200_000_000)]),
    ],
    [
      'a colour profile that unpacks to 200 MB',
      'iCCP',
      Buffer.concat([Buffer.from('profile\0\0', 'latin1'), nothing(200_000_000)]),
    ],
  ])('%s is a picture or a refusal, and is not unpacked', async (_title, name, data) => {
    const content = png({ width: 4, height: 4, data: deflateSync(Buffer.alloc(52)), more: [chunk(name, data)] })
    const before = process.memoryUsage().rss
    const { status } = await send(content)
    expect([201, 422]).toContain(status)
    expect((process.memoryUsage().rss - before) / 1e6).toBeLessThan(150)
  })
})

test('a picture with something else behind it is kept as it came and only ever shown as a picture', async () => {
  const both = Buffer.concat([picture.jpeg, Buffer.from('<script>alert(1)</script>'), zip])
  const { body } = await send(both, 'both.html', 'text/html').expect(201)
  expect([body.mediaType, body.sha256]).toEqual(['image/jpeg', createHash('sha256').update(both).digest('hex')])
  const ticket = await shop.book()
  const { ids } = await shop.told(ticket.number, 'pictures', { pictures: [{ id: body.id, view: 'other' }] })
  const { headers } = await shop.counter.get(`/v1/tickets/${ticket.number}/pictures/${ids[0]}`).expect(200)
  expect([headers['content-type'], headers['x-content-type-options']]).toEqual(['image/jpeg', 'nosniff'])
  expect(headers['content-security-policy']).toContain("default-src 'none'")
})

test('600 changed pictures: each is a refusal that writes nothing, or decodes and lies under the hash of its content', async () => {
  const kinds = ['png', 'jpeg', 'webp'] as const
  const change = fc.oneof(
    fc.record({ how: fc.constant('cut' as const), at: fc.double({ min: 0, max: 1, noNaN: true }) }),
    fc.record({ how: fc.constant('flip' as const), at: fc.double({ min: 0, max: 1, noNaN: true }), bit: fc.nat(7) }),
    fc.record({ how: fc.constant('doubled' as const), at: fc.double({ min: 0, max: 1, noNaN: true }) }),
    fc.record({
      how: fc.constant('bytes' as const),
      at: fc.double({ min: 0, max: 0.2, noNaN: true }),
      put: fc.uint8Array({ minLength: 1, maxLength: 12 }),
    }),
  )
  const changed = fc.sample(fc.tuple(fc.constantFrom(...kinds), fc.array(change, { minLength: 1, maxLength: 3 })), 600)
  const taken = { refused: 0, kept: 0 }
  for (const [kind, changes] of changed) {
    let content: Buffer = Buffer.from(picture[kind])
    for (const one of changes) {
      const at = Math.floor(one.at * Math.max(content.length - 1, 0))
      if (one.how === 'cut') content = content.subarray(0, at)
      else if (one.how === 'flip' && content.length > 0) content[at] = (content[at] as number) ^ (1 << one.bit)
      else if (one.how === 'doubled') content = Buffer.concat([content.subarray(0, at), content])
      else if (one.how === 'bytes') content = Buffer.concat([content.subarray(0, at), one.put, content.subarray(at)])
    }
    const before = await onFile()
    const answer = await send(content)
    if (answer.status === 201) {
      taken.kept += 1
      const { sha256 } = answer.body
      expect(sha256).toBe(createHash('sha256').update(content).digest('hex'))
      expect((await readFile(path.join(folder(), sha256.slice(0, 2), sha256))).equals(content)).toBe(true)
    } else {
      taken.refused += 1
      expect([answer.status, answer.type, answer.body.type], JSON.stringify(answer.body)).toEqual([
        422,
        'application/problem+json',
        '/problems/picture-refused',
      ])
      expect(await onFile()).toEqual(before)
    }
  }
  // neither everything nor nothing decodes, else nothing was tried
  expect(taken.refused).toBeGreaterThan(150)
  expect(taken.kept).toBeGreaterThan(20)
})

test.each([
  '..',
  '../a.png',
  '..\\a.png',
  'C:\\a.png',
  '/etc/passwd',
  'a.png/../../b',
  '%2e%2e%2fa.png',
  'a\u202egnp.exe',
  `${'x'.repeat(300)}.png`,
  'con.png',
  '.htaccess',
])('a file called %j never lies elsewhere than under its hash', async (name) => {
  const content = Buffer.concat([picture.png, Buffer.from(name)])
  const answer = await send(content, name)
  expect([201, 422]).toContain(answer.status)
  for (const file of await stored())
    expect(path.join(file.parentPath, file.name)).toMatch(/\/pictures\/([0-9a-f]{2})\/\1[0-9a-f]{62}$/)
})

/** A report of RFC 3464 about a letter of ours. */
const report = (
  envelope: string,
  fields = 'Final-Recipient: rfc822; nadia@owner.example\r\nAction: failed\r\nStatus: 5.1.1',
) =>
  [
    'From: MAILER-DAEMON@relay.example',
    'MIME-Version: 1.0',
    'Content-Type: multipart/report; report-type=delivery-status; boundary="b1"',
    '',
    '--b1',
    'Content-Type: message/delivery-status',
    '',
    'Reporting-MTA: dns; relay.example',
    `Original-Envelope-Id: ${envelope}`,
    '',
    fields,
    'Diagnostic-Code: smtp; 550 5.1.1 unknown user',
    '',
    '--b1--',
    '',
  ].join('\r\n')

test('300 changed and swollen delivery reports: each is taken, counted as none, or refused; the service goes on', async () => {
  const { ownerId, watchId } = await ownerWithWatch(shop.house, { email: 'nadia@owner.example' })
  const noticeId = await queueLetter(shop.house, ownerId, watchId)
  await shop.house.database.pool.query(
    `update notice set state = 'sent', sent_at = now(), handed_at = now() where id = $1`,
    [noticeId],
  )
  const whole = Buffer.from(report(noticeId))
  const nested = `${Array.from({ length: 3000 }, (_, n) => `Content-Type: multipart/mixed; boundary="n${n}"\r\n\r\n--n${n}\r\n`).join('')}x`
  const swollen = [
    nested,
    report(noticeId, `X-Long: ${'x'.repeat(2_000_000)}`),
    report(noticeId, 'Final-Recipient: rfc822; a@b.example\r\nAction: failed\r\nStatus: 5.0.0\r\n\r\n'.repeat(20_000)),
    report(noticeId, `Final-Recipient: rfc822; ${'('.repeat(50_000)}a@b.example\r\nAction: failed\r\nStatus: 5.0.0`),
    `${'From x\r\n\r\n'.repeat(50_000)}`,
    report('\u0000'),
    report(
      noticeId,
      'Final-Recipient: rfc822; nadia@owner.example\r\nAction: failed\r\nStatus: 5.0.0\r\nDiagnostic-Code: smtp; \u0000\u001b[2J',
    ),
  ].map((text) => Buffer.from(text))
  const flips = fc.sample(
    fc.array(fc.tuple(fc.nat(whole.length - 1), fc.constantFrom(0, 10, 13, 32, 45, 58, 59, 60, 128, 255)), {
      minLength: 1,
      maxLength: 8,
    }),
    293,
  )
  const changed = flips.map((places) => {
    const content = Buffer.from(whole)
    for (const [at, byte] of places) content[at] = byte
    return content
  })
  const statuses: Record<number, number> = {}
  for (const content of [...swollen, ...changed]) {
    const answer = await shop.house.app.inject({
      method: 'POST',
      url: '/v1/delivery-reports',
      headers: {
        authorization: `Bearer ${shop.house.keys.counter}`,
        'content-type': content.subarray(0, 5).toString() === 'From ' ? 'application/mbox' : 'message/rfc822',
      },
      payload: content,
    })
    statuses[answer.statusCode] = (statuses[answer.statusCode] ?? 0) + 1
    expect([200, 400, 413], answer.body).toContain(answer.statusCode)
    if (answer.statusCode !== 200) expect(answer.headers['content-type']).toContain('application/problem+json')
  }
  expect(statuses[200]).toBeGreaterThan(200)
  const { rows } = await shop.house.database.pool.query(
    'select state, returned_at is not null as back from notice where id = $1',
    [noticeId],
  )
  expect(rows).toEqual([{ state: 'sent', back: true }])
})

describe('bodies that are packed', () => {
  const body = JSON.stringify({ name: `Packed ${randomUUID()}` })
  test.each([
    ['gzip', gzipSync(body)],
    ['gzip', gzipSync(Buffer.alloc(50_000_000, 32))],
    ['br', brotliCompressSync(Buffer.alloc(1_000_000, 32))],
    ['deflate', deflateSync(body)],
    ['gzip, gzip', gzipSync(gzipSync(body))],
    // said to be packed and is not: read in one way only
    ['gzip', Buffer.from(body)],
  ])('Content-Encoding: %s', async (coding, payload) => {
    const before = await onFile()
    const answer = await shop.house.app.inject({
      method: 'POST',
      url: '/v1/owners',
      headers: {
        authorization: `Bearer ${shop.house.keys.counter}`,
        'idempotency-key': `"${randomUUID()}"`,
        'content-type': 'application/json',
        'content-encoding': coding,
      },
      payload,
    })
    expect([answer.statusCode, answer.json().type, answer.headers['accept-encoding']]).toEqual([
      415,
      '/problems/unsupported-media-type',
      'identity',
    ])
    expect(await onFile()).toEqual(before)
  })
})

/** RFC 4180. */
function cellsOf(text: string): string[] {
  return [...text.matchAll(/(?:^|,|\r?\n)(?:"((?:[^"]|"")*)"|([^",\r\n]*))/g)].map(
    ([, quoted, plain]) => quoted?.replaceAll('""', '"') ?? plain ?? '',
  )
}

test('no cell of any report as text/csv begins like a formula, whatever people are, live or write', async () => {
  const formulas = [
    '=1+1',
    '+1',
    '-1+cmd',
    '@SUM(A1)',
    '＝1+1',
    '=HYPERLINK("http://evil.example","x")',
    "=cmd|' /C calc'!A0",
  ]
  for (const text of formulas) {
    const owner = { new: { name: text }, confirmedNew: true }
    const watch = { new: { maker: text, model: text, kind: 'quartz', serial: randomUUID() }, confirmedNew: true }
    const made = await shop.counter.post('/v1/tickets', {
      owner,
      watch,
      complaint: text,
      place: text,
      declaredValue: { amount: 100, currency: 'EUR' },
    })
    expect(made.status, JSON.stringify(made.body)).toBe(201)
  }
  shop.house.setNow('2027-03-01T09:00:00Z')
  const { paths } = (await shop.house.app.inject('/openapi.json')).json() as { paths: Record<string, { get?: object }> }
  let cells = 0
  let shown = 0
  for (const [url, { get }] of Object.entries(paths)) {
    if (!get || url.includes('{')) continue
    const answer = await shop.manager.get(url).set('accept', 'text/csv')
    if (!answer.type.startsWith('text/csv')) continue
    const text = answer.text ?? ''
    for (const cell of cellsOf(text)) {
      cells += 1
      if (formulas.some((formula) => cell.includes(formula))) shown += 1
      if (!/^-?\d+(\.\d+)?$/.test(cell)) expect(cell, url).not.toMatch(/^[=+\-@\t\r＝＋－＠]/)
    }
  }
  expect(cells).toBeGreaterThan(50)
  expect(shown).toBeGreaterThan(6)
})

test('the reports of tickets are JSON or text/csv (RFC 4180), and nothing else', async () => {
  const report = '/v1/reports/value-at-risk'
  const csv = await shop.manager.get(report).set('accept', 'text/csv').expect(200)
  expect(csv.text.split('\r\n')[0]).toBe('place,currency,watches,amount,withoutValue')
  expect((await shop.manager.get(report).set('accept', 'text/html, */*;q=0.8').expect(200)).type).toBe(
    'application/json',
  )
  const other = await shop.manager.get(report).set('accept', 'application/xml')
  expect([other.status, other.body.type]).toEqual([406, '/problems/not-acceptable'])
})
