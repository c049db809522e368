import { z } from 'zod'
import { movementConditions, signs, waterUses } from '../../domain/reckoning/facts.ts'
import { day, dayOut, idOut, line, obligationKind, partialDay, prose, source, yesNoUnknown } from '../../http/shapes.ts'

/** The bodies in which facts come, and the answer that every recording gives. */
const common = { on: partialDay, source, learned: day.optional(), note: prose(1000).optional() }
const measure = z.number().min(0.000001).max(1_000_000)

const plain = (
  name: 'complete-service' | 'water-claim-withdrawn' | 'case-opened' | 'seals-replaced' | 'cell-removed',
) => z.strictObject({ event: z.literal(name), ...common })

export const eventBody = z.discriminatedUnion('event', [
  plain('complete-service'),
  plain('water-claim-withdrawn'),
  plain('case-opened'),
  plain('seals-replaced'),
  plain('cell-removed'),
  z.strictObject({ event: z.literal('movement-fitted'), ...common, condition: z.enum(movementConditions).optional() }),
  z.strictObject({ event: z.literal('water-test'), ...common, passed: z.boolean(), bar: measure.optional() }),
  z.strictObject({
    event: z.literal('cell-fitted'),
    ...common,
    bestBefore: partialDay.optional(),
    capacityMah: measure.optional(),
    consumptionMicroamps: measure.optional(),
  }),
  z.strictObject({ event: z.literal('sign'), ...common, sign: z.enum(signs) }),
])

export const wearBody = z.strictObject({
  daily: yesNoUnknown.optional(),
  vibration: yesNoUnknown.optional(),
  heat: yesNoUnknown.optional(),
  cold: yesNoUnknown.optional(),
  water: z.enum(waterUses).optional(),
  salt: yesNoUnknown.optional(),
  chlorine: yesNoUnknown.optional(),
  hotWater: yesNoUnknown.optional(),
  magnets: yesNoUnknown.optional(),
  learned: day.optional(),
  source,
})

export const noteBody = z.strictObject({
  obligation: obligationKind,
  months: z.number().int().min(1).max(240),
  on: day,
  reason: line(500),
})

export const summaryOut = {
  obligations: z.array(
    z.object({ kind: z.string(), rule: z.string(), dueOn: dayOut, noticesDueOn: dayOut, standing: z.string() }),
  ),
  without: z.array(z.object({ kind: z.string(), because: z.string() })),
  warnings: z.array(z.string()),
}

export const recordedOut = z.object({ id: idOut.optional(), ...summaryOut })
