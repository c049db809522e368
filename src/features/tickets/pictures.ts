import { createHash } from 'node:crypto'
import { createReadStream } from 'node:fs'
import { mkdir, rename, stat, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { v7 as uuidv7 } from 'uuid'
import type { Db } from '../../db/open.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { Created } from '../../http/creating.ts'
import { type Desk, instantFrom, instantSaid, openTicket, ticketId } from './desk.ts'

/** Largest picture taken, bytes and pixels: enough for a telephone's camera, and no bomb. */
export const PICTURE_BYTES = 12 * 1024 * 1024
export const MOST = '12 MiB a picture'
const PIXELS = 60_000_000
/** What is not stored line by line has to be unpacked as a whole: so many bytes of it, one picture at a time. */
const UNPACKED_BYTES = 100_000_000

const types: Readonly<Record<string, string>> = { jpeg: 'image/jpeg', png: 'image/png', webp: 'image/webp' }

/** Where a picture lies: by its own hash and nothing that a sender said. */
const placeOf = (folder: string, sha256: string) => path.join(folder, 'pictures', sha256.slice(0, 2), sha256)

export type Picture = {
  sha256: string
  mediaType: string
  bytes: number
  width: number
  height: number
  content: Buffer
}

/** Loaded with the first picture. No other reader is ever started on what a sender sends. */
async function loadSharp() {
  const { default: sharp } = await import('sharp')
  sharp.block({ operation: ['VipsForeignLoad'] })
  sharp.unblock({ operation: ['VipsForeignLoadJpeg', 'VipsForeignLoadPng', 'VipsForeignLoadWebp'] })
  return sharp
}
let sharpLoaded: ReturnType<typeof loadSharp> | undefined

let reading: Promise<unknown> = Promise.resolve()

/** Reads a file as a picture by its content, whatever its name and its type claim; the whole of it has to decode. */
export function readPicture(content: Buffer): Promise<Picture> {
  // one after the other, so that many at once take no more memory than one
  const read = reading.then(() => readNow(content))
  reading = read.catch(() => {})
  return read
}

async function readNow(content: Buffer): Promise<Picture> {
  if (content.length === 0) throw new Refusal('picture-refused', { why: 'it is empty' })
  if (content.length > PICTURE_BYTES) throw new Refusal('body-too-large', { most: MOST })
  const options = { limitInputPixels: PIXELS, failOn: 'error' as const }
  sharpLoaded ??= loadSharp()
  const sharp = await sharpLoaded
  const found = await sharp(content, options)
    .metadata()
    .catch((error: Error) => {
      if (/pixel limit/i.test(error.message)) throw new Refusal('picture-refused', { why: 'it has too many pixels' })
      return null
    })
  const mediaType = found?.format === undefined ? undefined : types[found.format]
  if (!found || mediaType === undefined)
    throw new Refusal('picture-refused', { why: 'its content is not a JPEG, PNG or WebP picture' })
  if ((found.pages ?? 1) > 1) throw new Refusal('picture-refused', { why: 'it moves; send a still picture' })
  const unpacked = found.width * found.height * found.channels * (found.depth === 'ushort' ? 2 : 1)
  if (found.isProgressive === true && unpacked > UNPACKED_BYTES)
    throw new Refusal('picture-refused', {
      why: 'it is interlaced and too large to be unpacked as a whole; send it smaller, or not interlaced',
    })
  await sharp(content, options)
    .resize(64, 64, { fit: 'inside' })
    .raw()
    .toBuffer()
    .catch(() => {
      throw new Refusal('picture-refused', { why: 'it is damaged or has too many pixels' })
    })
  return {
    sha256: createHash('sha256').update(content).digest('hex'),
    mediaType,
    bytes: content.length,
    width: found.width,
    height: found.height,
    content,
  }
}

/** Stores a picture under the hash of its content and enters it; the same picture twice is one. */
export async function keepPicture(desk: Desk, folder: string, picture: Picture): Promise<Created> {
  const place = placeOf(folder, picture.sha256)
  if (!(await stat(place).catch(() => null))) {
    await mkdir(path.dirname(place), { recursive: true })
    // written aside and renamed: a half-written file never stands under its hash
    const aside = `${place}.${uuidv7()}`
    await writeFile(aside, picture.content, { mode: 0o600 })
    await rename(aside, place)
  }
  const { sha256, mediaType, bytes, width, height } = picture
  const rows = await desk.tx.$queryRaw<{ id: string }[]>`
    with made as (
      insert into picture_file (sha256, media_type, bytes, width, height, recorded_at, recorded_by)
      values (${sha256}, ${mediaType}, ${bytes}, ${width}, ${height}, ${desk.now}, ${desk.who.name}) on conflict do nothing returning id)
    select id from made union all select id from picture_file where sha256 = ${sha256} limit 1`
  return { location: `/v1/pictures/${rows[0]!.id}`, body: { id: rows[0]!.id, sha256, mediaType, bytes, width, height } }
}

export type PicturesInput = {
  pictures: { id: string; view: string }[]
  stage: 'booking-in' | 'look' | 'bench' | 'final-check'
  at?: string | undefined
}

/** Puts uploaded pictures to a ticket. A picture is of one watch: one that another ticket has is refused. */
export async function addPictures(desk: Desk, ref: string, input: PicturesInput): Promise<Created> {
  const ticket = await openTicket(desk, ref)
  const { id, ended } = ticket.snapshot.ticket
  if (ended !== null) throw new Refusal('ticket-ended', { ended })
  // what came by post is photographed as it is unpacked, before it is booked in
  const at = input.stage === 'booking-in' ? instantSaid(desk, input.at, '/at') : instantFrom(desk, ticket, input.at)
  const ids = await putPictures(desk, id, input, at)
  return { location: `/v1/tickets/${id}`, body: { ids } }
}

/** Pictures that were uploaded here, put to a ticket with their views. */
export async function putPictures(
  desk: Desk,
  id: string,
  input: Omit<PicturesInput, 'at'>,
  at: Date,
): Promise<string[]> {
  const known = await desk.tx.$queryRaw<{ id: string; ticketId: string | null }[]>`
    select f.id, p.ticket_id as "ticketId" from picture_file f left join ticket_picture p on p.file_id = f.id
    where f.id = any(${input.pictures.map((picture) => picture.id)}::uuid[])`
  const ticketOf = new Map(known.map((row) => [row.id, row.ticketId]))
  const faults = input.pictures.flatMap((picture, i) => {
    const fault = !ticketOf.has(picture.id)
      ? 'was not uploaded here'
      : input.pictures.findIndex((other) => other.id === picture.id) < i
        ? 'is named twice: a picture shows one view'
        : ticketOf.get(picture.id) === id
          ? 'is a picture of this ticket already'
          : null
    return fault === null ? [] : [[`/pictures/${i}/id`, fault] as const]
  })
  if (faults.length > 0) throw faulty(...faults)
  const rows = await desk.tx.$queryRaw<{ id: string }[]>`
    insert into ticket_picture (ticket_id, file_id, view, stage, at, recorded_at, by_key, recorded_by)
    select ${id}::uuid, p.id, p.view, ${input.stage}, ${at}, ${desk.now}, ${desk.who.keyId}::uuid, ${desk.who.name}
    from jsonb_to_recordset(${JSON.stringify(input.pictures)}::jsonb) as p (id uuid, view text) returning id`
  return rows.map((row) => row.id)
}

/** What is known of an uploaded picture, and the ticket it was put to; null while it waits for one. */
export async function describePicture(db: Db, id: string) {
  const rows = await db.$queryRaw<
    {
      id: string
      sha256: string
      mediaType: string
      bytes: number
      width: number
      height: number
      ticketId: string | null
      view: string | null
    }[]
  >`
    select f.id, f.sha256, f.media_type as "mediaType", f.bytes, f.width, f.height, p.ticket_id as "ticketId", p.view
    from picture_file f left join ticket_picture p on p.file_id = f.id where f.id = ${id}::uuid`
  const row = rows[0]
  if (!row) throw new Refusal('not-found', { what: 'picture', id })
  return row
}

/** The file of a picture of this ticket; one of another ticket is not found here. */
export async function findPicture(db: Db, folder: string, ref: string, pictureId: string) {
  const id = await ticketId(db, ref)
  const rows = await db.$queryRaw<{ sha256: string; mediaType: string; bytes: number }[]>`
    select f.sha256, f.media_type as "mediaType", f.bytes from ticket_picture p join picture_file f on f.id = p.file_id
    where p.ticket_id = ${id}::uuid and p.id = ${pictureId}::uuid`
  const row = rows[0]
  if (!row) throw new Refusal('not-found', { what: 'picture of this ticket', id: pictureId })
  return { ...row, stream: createReadStream(placeOf(folder, row.sha256)) }
}
