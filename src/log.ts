import pino, { type Logger } from 'pino'

const addresses = /[^\s<>"'(),;:]+@[^\s<>"'(),;:]+/g

/**
 * JSON lines without personal data. What is logged is ids and counts; redaction is the second net, and the serializer of
 * errors masks addresses, since mail errors quote the recipient.
 */
export function makeLog(level: string, destination?: pino.DestinationStream): Logger {
  const mask = (text: string | undefined) => text?.replace(addresses, '…@…')
  return pino(
    {
      level,
      redact: {
        paths: [
          'req.headers.authorization',
          'authorization',
          'name',
          'email',
          'value',
          'phone',
          'address',
          '*.authorization',
          '*.name',
          '*.email',
          '*.value',
          '*.phone',
          '*.address',
        ],
        censor: '…',
      },
      serializers: {
        err: (error: Error & { code?: string }) => ({
          type: error.constructor?.name,
          code: error.code,
          message: mask(error.message),
          stack: mask(error.stack),
        }),
      },
      formatters: { level: (label) => ({ level: label }) },
      timestamp: pino.stdTimeFunctions.isoTime,
      base: undefined,
    },
    destination ?? pino.destination({ dest: 1, sync: false }),
  )
}
