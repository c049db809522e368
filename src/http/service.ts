import type { FastifyBaseLogger, FastifyRequest } from 'fastify'
import { Temporal } from 'temporal-polyfill'
import type { Config } from '../config.ts'
import { type Database, type Db, transaction } from '../db/open.ts'
import type { Day } from '../domain/day.ts'

export type Role = 'counter' | 'bench' | 'stock' | 'manager'
export const roles = ['counter', 'bench', 'stock', 'manager'] as const satisfies readonly Role[]

/** Who signs: a staff key, or the service itself. */
export type Signer = { keyId: string | null; name: string; role: Role | 'owner' | 'service' }

/** Read only at the edges; use cases are handed the day and the instant. */
export type Clock = { now: () => Date }

/** What the doors and the jobs are built from. */
export type Service = { config: Config; database: Database; clock: Clock; log: FastifyBaseLogger }

/** One thing done by one signer on one day in one transaction: the first argument of every use case that writes. */
export type Act = { tx: Db; today: Day; now: Date; who: Signer; zone: string }

const formatted = new Map<string, Intl.DateTimeFormat>()

/** The calendar day at the centre at an instant. */
export function dayAt(instant: Date, zone: string): Day {
  let format = formatted.get(zone)
  if (!format) {
    format = new Intl.DateTimeFormat('en-CA', {
      timeZone: zone,
      calendar: 'gregory',
      year: 'numeric',
      month: '2-digit',
      day: '2-digit',
    })
    formatted.set(zone, format)
  }
  return format.format(instant) as Day
}

const clocks = new Map<string, Intl.DateTimeFormat>()

/** The time of day at the centre at an instant, as HH:MM. */
export function timeAt(instant: Date, zone: string): string {
  let format = clocks.get(zone)
  if (!format) {
    format = new Intl.DateTimeFormat('en-GB', { timeZone: zone, hour: '2-digit', minute: '2-digit', hourCycle: 'h23' })
    clocks.set(zone, format)
  }
  return format.format(instant)
}

/** The instant at which a local time of day comes on a day; one in a spring gap is read with the offset before it, so that 02:30 is 03:30 (RFC 5545 3.3.5). */
export function instantOf(day: Day, time: string, zone: string): Date {
  return new Date(Temporal.PlainDateTime.from(`${day}T${time}`).toZonedDateTime(zone).epochMilliseconds)
}

export const todayAt = (service: Service): Day => dayAt(service.clock.now(), service.config.centre.timeZone)

/** Runs one act in one transaction, tried again on a serialization conflict. */
export function act<T>(service: Service, who: Signer, work: (act: Act) => Promise<T>): Promise<T> {
  const now = service.clock.now()
  const zone = service.config.centre.timeZone
  return transaction(service.database, (tx) => work({ tx, now, today: dayAt(now, zone), zone, who }))
}

/** The signer of a request whose route states roles; the guard has put it there. */
export function signerOf(request: FastifyRequest): Signer {
  if (!request.signer) throw new Error(`the route ${request.routeOptions.url} has no signer`)
  return request.signer
}

declare module 'fastify' {
  interface FastifyRequest {
    signer?: Signer
  }
  interface FastifyContextConfig {
    /** who may call this route; a route without it fails at start */
    roles?: readonly Role[] | 'public' | 'owner-link'
  }
}
