import { stringify } from 'csv-stringify/sync'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { Refusal } from '../../domain/refusals.ts'

const types = {
  json: 'application/json',
  csv: 'text/csv',
  svg: 'image/svg+xml',
} as const
export type Format = keyof typeof types

/** The form a report is wanted in: `?format=` first, then Accept, else JSON. @throws not-acceptable */
export function formatOf(request: FastifyRequest, offered: readonly Format[]): Format {
  const { format } = request.query as { format?: Format | undefined }
  if (format) return format
  const accepted = (request.headers.accept ?? '*/*').split(',').map((part) => (part.split(';')[0] as string).trim())
  for (const type of accepted) {
    const found = offered.find(
      (one) => type === types[one] || type === '*/*' || type === `${types[one].split('/')[0]}/*`,
    )
    if (found) return found
  }
  throw new Refusal('not-acceptable', { offered: offered.map((one) => types[one]) })
}

/** Cells that a spreadsheet would run as a formula are quoted; lines end as RFC 4180 has it. */
export function sendCsv(
  reply: FastifyReply,
  columns: readonly string[],
  rows: readonly (readonly (string | number | null)[])[],
): FastifyReply {
  const text = stringify([columns as string[], ...rows.map((row) => [...row])], {
    escape_formulas: true,
    record_delimiter: 'windows',
  })
  return reply
    .header('content-type', 'text/csv; charset=utf-8; header=present')
    .serializer((payload) => payload as string)
    .send(text)
}

export const sendSvg = (reply: FastifyReply, svg: string): FastifyReply =>
  reply
    .header('content-type', 'image/svg+xml; charset=utf-8')
    .serializer((payload) => payload as string)
    .send(svg)
