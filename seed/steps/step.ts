import type { Day } from '../../src/domain/day.ts'
import { type Act, act, instantOf, type Role, type Service, type Signer } from '../../src/http/service.ts'
import type { Centre } from '../invented/centre.ts'

/** What the steps of the demo work on and find out. */
export type Demo = {
  service: Service
  /** the demo's day */
  today: Day
  centre: Centre
  /** refs of the invented centre → ids on file */
  owners: Map<string, string>
  watches: Map<string, string>
  calibres: Map<string, string>
  keys: Map<Role, string>
}

/** A part of the account that is printed at the end. */
export type Section = { title: string; lines: string[] }

/** A request to try by hand; printed as a curl line that works when it is pasted. */
export type Try = {
  words: string
  role: Role
  method: 'GET' | 'POST'
  path: string
  body?: object
  /** for a POST that creates: pasted twice it is answered the same */
  idempotencyKey?: string
}

/**
 * One step of building the demo: a file here, a line in index.ts. `say` shows how far it is; what `run` returns is its
 * result in a few words. What it adds to the account and to the requests to try comes after all steps have run.
 */
export type Step = {
  name: string
  run: (demo: Demo, say: (progress: string) => void) => Promise<string>
  account?: (demo: Demo) => Promise<Section[]>
  tries?: (demo: Demo) => Promise<Try[]>
}

export const newDemo = (service: Service, today: Day, centre: Centre): Demo => ({
  service,
  today,
  centre,
  owners: new Map(),
  watches: new Map(),
  calibres: new Map(),
  keys: new Map(),
})

const staff: Signer = { keyId: null, name: 'demo', role: 'service' }

/** Does one thing as the staff would, on the demo's day or, with `on`, at ten in the morning of an earlier one. */
export function doing<T>({ service }: Pick<Demo, 'service'>, work: (act: Act) => Promise<T>, on?: Day): Promise<T> {
  if (on === undefined) return act(service, staff, work)
  const now = instantOf(on, '10:00', service.config.centre.timeZone)
  return act({ ...service, clock: { now: () => now } }, staff, work)
}

export function idOf(found: Map<string, string>, ref: string | undefined): string {
  const id = ref === undefined ? undefined : found.get(ref)
  if (id === undefined) throw new Error(`${ref} is not on file`)
  return id
}

/** The watches on file of a nasty case, by the name it has in seed/invented/cases.ts. */
export function watchesOf(demo: Demo, name: string): string[] {
  const groups = demo.centre.cases.get(name)
  if (!groups) throw new Error(`no case ${name}`)
  return groups.flatMap((group) => group.watches.map((watch) => idOf(demo.watches, watch.ref)))
}

export const count = (n: number): string => n.toLocaleString('en')
