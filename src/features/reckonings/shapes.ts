import { z } from 'zod'
import { dayOut, obligationKind } from '../../http/shapes.ts'

/** The answer of the reckoning, at the stateless door and for a watch on file. */
const obligationOut = z.object({
  kind: obligationKind,
  rule: z.string(),
  baseOn: dayOut.nullable(),
  baseFrom: z.string(),
  months: z.number().int().nullable(),
  dueOn: dayOut,
  noticesDueOn: dayOut,
  comingUpFrom: dayOut,
  overdueFrom: dayOut.nullable(),
  stopOn: dayOut.nullable(),
  standing: z.string(),
  trace: z.array(z.object({ rule: z.string(), applied: z.boolean(), because: z.string() })).readonly(),
  wouldChange: z.array(z.object({ fact: z.string(), to: z.string(), dueOn: dayOut.nullable() })).readonly(),
})

export const answerOut = {
  on: dayOut,
  obligations: z.array(obligationOut).readonly(),
  without: z.array(z.object({ kind: obligationKind, because: z.string() })).readonly(),
  warnings: z.array(z.object({ code: z.string(), history: z.number().int().optional(), fact: z.string().optional() })),
}
