import { z } from 'zod'
import { defaultHouseRules } from '../../domain/house-rules.ts'
import { reckon } from '../../domain/reckoning/reckon.ts'
import { readRequest } from '../../domain/reckoning/request.ts'
import { requestJsonSchema } from '../../domain/reckoning/request-schema.ts'
import { Refusal } from '../../domain/refusals.ts'
import type { Routes } from '../../http/routes.ts'
import type { Service } from '../../http/service.ts'
import { answerOut } from './shapes.ts'

// the request has rules of its own about which faults are said beside which, so it is judged by the domain; its schema is for the reader
const body = z.unknown().meta(requestJsonSchema as Record<string, unknown>)

/**
 * The question at the counter: what if? Stateless; the facts come with it, and the house rules are the first values
 * but for those it overrides, so that the same question has the same answer in every house and year.
 */
export function reckoningRoutes(app: Routes, _service: Service): void {
  app.post(
    '/v1/reckonings',
    {
      config: { roles: 'public' },
      schema: {
        tags: ['reckoning'],
        summary: 'What would a watch be due for, given these facts? Nothing is stored',
        body,
        response: { 200: z.object(answerOut) },
      },
    },
    (request) => {
      const read = readRequest(request.body)
      if (!read.ok) throw new Refusal('faulty-input', {}, read.faults)
      const { on, rules, facts } = read.request
      return reckon(facts, { ...defaultHouseRules, ...rules }, on, { trace: true, wouldChange: true }) as never
    },
  )
}
