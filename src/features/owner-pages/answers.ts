import { addDays, addMonths, type Day, isDay, type PartialDay } from '../../domain/day.ts'
import type { ChoiceKind } from '../../domain/notices/types.ts'
import type { WearFacts } from '../../domain/reckoning/facts.ts'
import type { Act, Signer } from '../../http/service.ts'
import { recordFacts } from '../facts/facts.ts'
import { addLetterTask } from '../notices/house-tasks.ts'
import { recordChoice, withdrawQueued } from '../owners/owners.ts'
import { changeOwner } from '../watches/watches.ts'
import type { Bearer } from './links.ts'

/**
 * What an owner says through a link in a letter. It lands as the owner's word, through the same use cases as at the
 * counter, and the dates change in the same transaction. Saying the same thing twice on a day records it once.
 */
export const ownerSigner: Signer = { keyId: null, name: 'the owner, by a link in a letter', role: 'owner' }

export const choiceKinds = ['complete-service', 'water-check', 'cell-change'] as const satisfies readonly ChoiceKind[]
export type Choices = Partial<Record<ChoiceKind, 'yes' | 'no'>>

/** The wording shown when the choice was made; kept with it. */
const WORDING = 'owner page 1'

type Answer = { answer: string; watchId?: string; details?: Record<string, string> }

/** Puts the answer on file; false when the same one was given today. The owner's row is locked against a double click. */
async function keep({ tx, today }: Act, bearer: Bearer, { answer, watchId, details = {} }: Answer): Promise<boolean> {
  await tx.$queryRaw`select 1 from owner where id = ${bearer.ownerId}::uuid for update`
  const made = await tx.$executeRaw`
    insert into owner_answer (owner_id, notice_id, watch_id, answer, details, answered_on)
    select ${bearer.ownerId}::uuid, ${bearer.noticeId}::uuid, ${watchId ?? null}::uuid, ${answer}, ${JSON.stringify(details)}::jsonb, ${today}::date
    where not exists (select from owner_answer where owner_id = ${bearer.ownerId}::uuid and answered_on = ${today}::date and answer = ${answer}
      and watch_id is not distinct from ${watchId ?? null}::uuid and details = ${JSON.stringify(details)}::jsonb
      and not exists (select from owner_answer later where later.owner_id = owner_answer.owner_id and later.id > owner_answer.id
        and later.answer in ('stop', 'start') and ${answer} in ('stop', 'start')))`
  return made === 1
}

/** A warning of a recall is no offer: no answer to another letter takes it back. */
const withdraw = (act: Act, bearer: Bearer) =>
  withdrawQueued(act, bearer.ownerId, 'the owner answered an earlier letter', { recalls: 'stay' })

/** Kinds with `no` are not written about any more, from this moment on; those with `yes` are again. */
export async function choose(act: Act, bearer: Bearer, choices: Choices): Promise<void> {
  for (const answer of ['stop', 'start'] as const) {
    const kinds = choiceKinds.filter((kind) => choices[kind] === (answer === 'stop' ? 'no' : 'yes'))
    if (kinds.length === 0 || !(await keep(act, bearer, { answer, details: { kinds: kinds.join(' ') } }))) continue
    for (const kind of kinds)
      await recordChoice(act, bearer.ownerId, {
        kind,
        choice: answer === 'stop' ? 'no' : 'yes',
        means: 'link in a letter',
        wording: WORDING,
      })
    if (answer === 'stop') await withdraw(act, bearer)
  }
}

export const stopAll = (act: Act, bearer: Bearer): Promise<void> =>
  choose(act, bearer, { 'complete-service': 'no', 'water-check': 'no', 'cell-change': 'no' })

export async function choicesOf(
  { tx }: Pick<Act, 'tx'>,
  ownerId: string,
): Promise<Record<ChoiceKind, 'yes' | 'no' | 'not-asked'>> {
  const rows = await tx.$queryRaw<{ kind: ChoiceKind; choice: 'yes' | 'no' | 'not-asked' }[]>`
    select distinct on (kind) kind, choice from notice_choice where owner_id = ${ownerId}::uuid order by kind, id desc`
  const of = (kind: ChoiceKind) => rows.find((row) => row.kind === kind)?.choice ?? 'not-asked'
  return {
    'complete-service': of('complete-service'),
    'water-check': of('water-check'),
    'cell-change': of('cell-change'),
  }
}

export async function sold(act: Act, bearer: Bearer, watchId: string): Promise<void> {
  if (!(await keep(act, bearer, { answer: 'sold', watchId }))) return
  await changeOwner(act, watchId, { ownerId: null, from: act.today, how: 'the owner, by a link in a letter' })
}

export async function doneElsewhere(
  act: Act,
  bearer: Bearer,
  watchId: string,
  kind: ChoiceKind,
  on: Day,
): Promise<void> {
  if (!(await keep(act, bearer, { answer: 'done-elsewhere', watchId, details: { kind, on } }))) return
  const fact = { watchId, on: on as unknown as PartialDay, source: 'owner-word' as const, learned: act.today }
  const events = {
    'complete-service': { ...fact, event: 'complete-service' as const },
    'water-check': { ...fact, event: 'water-test' as const, passed: true },
    'cell-change': { ...fact, event: 'cell-fitted' as const },
  }
  await recordFacts(act, { events: [events[kind]] })
  await withdraw(act, bearer)
}

type WearRow = Pick<WearFacts, 'daily' | 'vibration' | 'heat' | 'cold' | 'water' | 'salt' | 'chlorine'> & {
  hotWater: WearFacts['hotWater']
  magnets: string
}

/** A new statement says everything again: what the owner did not speak of stays as it was known. */
async function wearNow({ tx }: Act, watchId: string): Promise<Partial<WearRow>> {
  const [row] = await tx.$queryRaw<WearRow[]>`
    select s.daily, s.vibration, s.heat, s.cold, s.water, s.salt, s.chlorine, s.hot_water as "hotWater", s.magnets
    from wear_statement s join watch w on w.id = s.watch_id
    where s.watch_id = ${watchId}::uuid and s.owner_id is not distinct from w.owner_id and not exists (select from strike where fact_id = s.id)
    order by s.learned desc, s.id desc limit 1`
  return row ?? {}
}

export async function wornSo(
  act: Act,
  bearer: Bearer,
  watchId: string,
  answer: 'never-in-water' | 'now-and-then',
): Promise<void> {
  if (!(await keep(act, bearer, { answer, watchId }))) return
  const change =
    answer === 'never-in-water'
      ? { water: 'never' as const }
      : { daily: 'no' as const, vibration: 'no' as const, heat: 'no' as const, cold: 'no' as const }
  await recordFacts(act, {
    wear: [{ ...(await wearNow(act, watchId)), ...change, watchId, source: 'owner-word', learned: act.today }],
  })
  await withdraw(act, bearer)
}

/** A proposal is not yet an appointment: the counter answers it. */
export async function proposeDay(act: Act, bearer: Bearer, watchId: string, on: Day): Promise<void> {
  if (!(await keep(act, bearer, { answer: 'proposed-day', watchId, details: { on } }))) return
  await addLetterTask(act.tx, act.today, {
    kind: 'proposed-day',
    role: 'counter',
    dedupe: `proposed-day/${watchId}/${on}`,
    words: `The owner proposes to come on ${on}. Answer whether it suits, and book the appointment.`,
    ownerId: bearer.ownerId,
    watchId,
    noticeId: bearer.noticeId,
  })
}

export type DayFault = 'dayMissing' | 'dayInFuture' | 'dayInPast' | 'dayTooFar'

export function pastDay(text: string | undefined, today: Day): { day: Day } | { fault: DayFault } {
  if (text === undefined || !isDay(text)) return { fault: 'dayMissing' }
  return text > today ? { fault: 'dayInFuture' } : { day: text }
}

export function comingDay(text: string | undefined, today: Day): { day: Day } | { fault: DayFault } {
  if (text === undefined || !isDay(text)) return { fault: 'dayMissing' }
  if (text < addDays(today, 1)) return { fault: 'dayInPast' }
  return text > addMonths(today, 12) ? { fault: 'dayTooFar' } : { day: text }
}
