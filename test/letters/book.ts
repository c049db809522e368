import { expect } from 'vitest'
import type { Day } from '../../src/domain/day.ts'
import type { LetterPart, LetterPlan } from '../../src/domain/notices/types.ts'
import type { House } from '../support/house.ts'
import { due } from './sample.ts'

/** An owner with a watch on file, put there through the doors. */
export async function ownerWithWatch(
  house: House,
  more: { name?: string; email?: string; language?: string; watch?: object } = {},
): Promise<{ ownerId: string; watchId: string }> {
  const owner = await house
    .as('counter')
    .post('/v1/owners', {
      name: more.name ?? 'Nadia Ferrant',
      language: more.language ?? 'en',
      confirmedNew: true,
      contacts: [
        { means: 'e-mail', value: more.email ?? `nadia.${Math.random().toString(36).slice(2)}@owner.example` },
      ],
      noticeChoices: (['complete-service', 'water-check', 'cell-change'] as const).map((kind) => ({
        kind,
        choice: 'yes',
        means: 'counter',
        wording: '1',
      })),
    })
    .expect(201)
  const watch = await house
    .as('counter')
    .post('/v1/watches', {
      maker: 'Brackwater',
      model: 'Tidal 38',
      serial: `BW ${Math.floor(Math.random() * 1e9)} 4417`,
      description: 'small steel watch with a blue dial',
      kind: 'quartz',
      waterClaim: { marked: 'rated', bar: 10 },
      ownerId: owner.body.id,
      firstSeen: '2020-01-01',
      ...more.watch,
    })
    .expect(201)
  return { ownerId: owner.body.id, watchId: watch.body.id }
}

/** A letter in the queue, as a nightly run leaves it. */
export async function queueLetter(
  house: House,
  ownerId: string,
  watchId: string,
  more: { parts?: readonly LetterPart[]; language?: string; runOn?: string } = {},
): Promise<string> {
  const runOn = (more.runOn ?? '2026-11-25') as Day
  const parts = more.parts ?? [due({ watchId, recordId: ownerId })]
  const plan: LetterPlan = {
    ownerId,
    language: more.language ?? 'en',
    runOn,
    comeBy: '2026-12-10' as Day,
    parts,
    reminder: true,
  }
  const { rows } = await house.database.pool.query<{ id: string }>(
    `insert into notice (owner_id, run_on, language, text_version, come_by, plan, trace)
     values ($1, $2, $3, '1', $4, $5, '{}') returning id`,
    [ownerId, runOn, plan.language, plan.comeBy, plan],
  )
  const id = rows[0]?.id ?? ''
  for (const part of parts)
    if (part.part === 'due')
      await house.database.pool.query(
        `insert into notice_item (notice_id, owner_id, watch_id, kind, cycle, round, stage, rule, booked, run_on, due_on, standing)
         values ($1, $2, $3, $4, $5, $6, $7, $8, 'letter', $6, $9, $10)`,
        [
          id,
          ownerId,
          part.watchId,
          part.kind,
          `${part.cycle}/${id}`,
          runOn,
          part.stage,
          part.rule,
          part.dueOn,
          part.standing,
        ],
      )
  expect(id).not.toBe('')
  return id
}

export const stateOf = async (house: House, id: string): Promise<string> => {
  const { rows } = await house.database.pool.query<{ state: string }>('select state from notice where id = $1', [id])
  return rows[0]?.state ?? ''
}
