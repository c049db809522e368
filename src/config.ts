import { createPrivateKey } from 'node:crypto'
import { readFileSync } from 'node:fs'
import { isIP } from 'node:net'
import path from 'node:path'
import { Temporal } from 'temporal-polyfill'
import { z } from 'zod'
import { currencyCode } from './domain/money.ts'

/** The only reader of the environment. Every fault is listed at once, in plain words; `.env.example` explains each name. */

const blankIsUnset = (value: unknown) => (typeof value === 'string' && value.trim() === '' ? undefined : value)
const text = () => z.preprocess(blankIsUnset, z.string().trim().optional())

const zone = z.string().refine(
  (value) => {
    try {
      Temporal.Instant.fromEpochMilliseconds(0).toZonedDateTimeISO(value)
      return true
    } catch {
      return false
    }
  },
  { error: 'is not a time zone of the IANA database, such as Europe/Zurich' },
)

const urlOf = (...schemes: string[]) =>
  z.string().refine((value) => URL.canParse(value) && schemes.includes(new URL(value).protocol), {
    error: `is not an address that begins with ${schemes.map((s) => `${s}//`).join(' or ')}`,
  })

/** `Mainplate Watches <letters@example.org>` or a bare address. */
const mailbox = z
  .string()
  .regex(/^(?:[^<>\r\n"]{1,80}<[^\s<>@"]{1,64}@[A-Za-z0-9.-]{1,190}>|[^\s<>@"]{1,64}@[A-Za-z0-9.-]{1,190})$/, {
    error: 'is not a mail address, such as "The Centre <letters@example.org>"',
  })

/** An address, or a range of addresses by the bits they have in common (RFC 4632, RFC 4291 2.3). */
function isRange(text: string): boolean {
  const [address = '', bits, ...more] = text.split('/')
  const most = { 0: -1, 4: 32, 6: 128 }[isIP(address)] ?? -1
  return most > 0 && more.length === 0 && (bits === undefined || (/^\d{1,3}$/.test(bits) && Number(bits) <= most))
}

function isPrivateKey(file: string): boolean {
  try {
    createPrivateKey(readFileSync(file))
    return true
  } catch {
    return false
  }
}

const environment = z
  .object({
    NODE_ENV: text(),
    DATABASE_URL: z.preprocess(blankIsUnset, urlOf('postgres:', 'postgresql:').optional()),
    DATABASE_POOL_SIZE: z.preprocess(blankIsUnset, z.coerce.number().int().min(2).max(100).default(10)),
    DATA_FOLDER: z.preprocess(blankIsUnset, z.string().default('.data')),
    HOST: z.preprocess(blankIsUnset, z.string().default('127.0.0.1')),
    PORT: z.preprocess(blankIsUnset, z.coerce.number().int().min(0).max(65_535).default(8080)),
    PUBLIC_URL: z.preprocess(blankIsUnset, urlOf('http:', 'https:').optional()),
    TRUSTED_PROXIES: text(),
    CENTRE_NAME: z.preprocess(blankIsUnset, z.string().max(100).default('The watch service centre')),
    CENTRE_ADDRESS: text(),
    CENTRE_PHONE: text(),
    CENTRE_TIME_ZONE: z.preprocess(blankIsUnset, zone.default('UTC')),
    CENTRE_COUNTRY: z.preprocess(
      blankIsUnset,
      z
        .string()
        .regex(/^[A-Z]{2}$/, { error: 'is not a two-letter country code of ISO 3166-1' })
        .default('CH'),
    ),
    CENTRE_CURRENCY: z.preprocess(
      blankIsUnset,
      z.string().regex(currencyCode, { error: 'is not a three-letter currency code of ISO 4217' }).default('EUR'),
    ),
    NIGHTLY_AT: z.preprocess(
      blankIsUnset,
      z
        .string()
        .regex(/^([01]\d|2[0-3]):[0-5]\d$/, { error: 'is not a time of day such as 02:30' })
        .default('02:30'),
    ),
    JOBS: z.preprocess(blankIsUnset, z.enum(['on', 'off']).default('on')),
    SMTP_URL: z.preprocess(blankIsUnset, urlOf('smtp:', 'smtps:').optional()),
    SMTP_CONNECTIONS: z.preprocess(blankIsUnset, z.coerce.number().int().min(1).max(50).default(10)),
    SMTP_IDEMPOTENCY_HEADER: z.preprocess(
      blankIsUnset,
      z
        .string()
        .regex(/^[A-Za-z0-9-]{1,60}$/, { error: 'is not the name of a mail header' })
        .optional(),
    ),
    LETTERS_FROM: z.preprocess(blankIsUnset, mailbox.optional()),
    DELIVERY_REPORTS_MAILBOX: text(),
    LETTERS_FOLDER: text(),
    LETTERS_IN_DOUBT: z.preprocess(blankIsUnset, z.enum(['hold', 'resend']).default('hold')),
    DKIM_DOMAIN: text(),
    DKIM_SELECTOR: text(),
    DKIM_KEY_FILE: text(),
    LINK_SECRET: z.preprocess(
      blankIsUnset,
      z.string().min(32, { error: 'is too short: use at least 32 random characters' }).optional(),
    ),
    FIRST_MANAGER_KEY: z.preprocess(
      blankIsUnset,
      z
        .string()
        .regex(/^mp_[0-9a-f]{32}_[A-Za-z0-9_-]{32,128}$/, {
          error: 'must have the shape mp_<32 hex digits>_<32 to 128 letters, digits, - or _>',
        })
        .optional(),
    ),
    LOG_LEVEL: z.preprocess(
      blankIsUnset,
      z.enum(['fatal', 'error', 'warn', 'info', 'debug', 'silent']).default('info'),
    ),
  })
  .superRefine((env, context) => {
    const missing = (name: string, message: string) => context.addIssue({ code: 'custom', path: [name], message })
    if (env.SMTP_URL && !env.LETTERS_FROM)
      missing('LETTERS_FROM', 'is needed when SMTP_URL is set: letters must say who writes')
    if (
      (env.DKIM_DOMAIN || env.DKIM_SELECTOR || env.DKIM_KEY_FILE) &&
      !(env.DKIM_DOMAIN && env.DKIM_SELECTOR && env.DKIM_KEY_FILE)
    )
      missing('DKIM_DOMAIN', 'DKIM_SELECTOR and DKIM_KEY_FILE go together: set all three or none')
    if (env.DKIM_KEY_FILE && !isPrivateKey(env.DKIM_KEY_FILE))
      missing('DKIM_KEY_FILE', `names ${env.DKIM_KEY_FILE}, where no PEM private key can be read`)
    for (const proxy of env.TRUSTED_PROXIES?.split(',') ?? [])
      if (!isRange(proxy.trim()))
        missing('TRUSTED_PROXIES', `has "${proxy.trim()}", which is not an address or CIDR range`)
  })

export type Config = ReturnType<typeof shape>

function shape(env: z.output<typeof environment>) {
  const dataFolder = path.resolve(env.DATA_FOLDER)
  return {
    production: env.NODE_ENV === 'production',
    database: { url: env.DATABASE_URL, poolSize: env.DATABASE_POOL_SIZE },
    dataFolder,
    http: {
      host: env.HOST,
      port: env.PORT,
      publicUrl: env.PUBLIC_URL?.replace(/\/+$/, ''),
      trustedProxies: env.TRUSTED_PROXIES?.split(',').map((proxy) => proxy.trim()),
    },
    centre: {
      name: env.CENTRE_NAME,
      address: env.CENTRE_ADDRESS,
      phone: env.CENTRE_PHONE,
      timeZone: env.CENTRE_TIME_ZONE,
      country: env.CENTRE_COUNTRY,
      currency: env.CENTRE_CURRENCY,
    },
    jobs: { on: env.JOBS === 'on', nightlyAt: env.NIGHTLY_AT },
    letters: {
      smtpUrl: env.SMTP_URL,
      smtpConnections: env.SMTP_CONNECTIONS,
      idempotencyHeader: env.SMTP_IDEMPOTENCY_HEADER,
      from: env.LETTERS_FROM ?? `${env.CENTRE_NAME} <letters@localhost>`,
      folder: path.resolve(env.LETTERS_FOLDER ?? path.join(dataFolder, 'letters')),
      inDoubt: env.LETTERS_IN_DOUBT,
      mailbox: env.DELIVERY_REPORTS_MAILBOX && path.resolve(env.DELIVERY_REPORTS_MAILBOX),
      dkim:
        env.DKIM_DOMAIN && env.DKIM_SELECTOR && env.DKIM_KEY_FILE
          ? { domain: env.DKIM_DOMAIN, selector: env.DKIM_SELECTOR, keyFile: env.DKIM_KEY_FILE }
          : undefined,
    },
    linkSecret: env.LINK_SECRET,
    firstManagerKey: env.FIRST_MANAGER_KEY,
    logLevel: env.LOG_LEVEL,
  }
}

export type ConfigReading = { ok: true; config: Config } | { ok: false; faults: string[] }

export function readConfig(env: Record<string, string | undefined>): ConfigReading {
  const parsed = environment.safeParse(env)
  if (parsed.success) return { ok: true, config: shape(parsed.data) }
  const said = (issue: z.core.$ZodIssue) => {
    if (issue.code === 'custom' || (issue.code === 'invalid_format' && !issue.message.startsWith('Invalid')))
      return issue.message
    if (issue.code === 'invalid_value') return `must be one of: ${issue.values.join(', ')}`
    if (issue.code === 'too_small')
      return issue.message.startsWith('Too small') ? `must be at least ${issue.minimum}` : issue.message
    if (issue.code === 'too_big') return `must be at most ${issue.maximum}`
    if (issue.code === 'invalid_type') return 'must be a whole number'
    return issue.message
  }
  return { ok: false, faults: parsed.error.issues.map((issue) => `${issue.path.join('.')} ${said(issue)}`) }
}
