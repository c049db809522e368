import { type Db, dateOf } from '../../db/open.ts'
import type { Day } from '../../domain/day.ts'
import { readLocalSettings } from '../../domain/local-settings.ts'
import { faulty, Refusal } from '../../domain/refusals.ts'
import type { GuaranteeKind } from '../../domain/tickets/guarantee.ts'
import type { Created } from '../../http/creating.ts'
import type { Act } from '../../http/service.ts'
import { storedOn } from '../house-rules/house-rules.ts'

/** A price of the bench: an operation or a part, for one class of work or for all, without tax, from a day on. */
export type NewPrice = {
  code: string
  workClass?: string | undefined
  what: string
  from: Day
  until?: Day | undefined
  amount: number
  currency: string
  taxClass: string
  /** standard hands-on minutes */
  minutes: number
  guarantee: GuaranteeKind
  part: boolean
  opensCase: boolean
  pressureTest: boolean
  /** this operation makes a complete service of the movement */
  completeService: boolean
}

export type Price = Omit<NewPrice, 'workClass' | 'until'> & {
  id: string
  workClass: string | null
  until: Day | null
  recordedBy: string
}

const columns = `id, code, work_class as "workClass", what, from_day::text as "from", until_day::text as "until", amount::float8 as amount, currency, tax_class as "taxClass",
  minutes, guarantee_kind as guarantee, part, opens_case as "opensCase", pressure_test as "pressureTest", complete_service as "completeService", recorded_by as "recordedBy"`

/** A new row from its day on; what an estimate took from an older one stays as it was told. */
export async function addPrice({ tx, today, who }: Act, input: NewPrice): Promise<Created> {
  if (input.from < today)
    throw new Refusal('rule-in-past', { earliest: today }, [
      { pointer: '/from', detail: `must not lie before ${today}` },
    ])
  if (input.until !== undefined && input.until < input.from) throw faulty(['/until', 'lies before from'])
  const { taxRates } = readLocalSettings(await storedOn(tx, input.from))
  if (taxRates !== null && !Object.hasOwn(taxRates, input.taxClass))
    throw faulty(['/taxClass', `must be one of ${Object.keys(taxRates).join(', ')}`])
  const { id } = await tx.price.create({
    data: {
      code: input.code,
      workClass: input.workClass ?? null,
      what: input.what,
      fromDay: dateOf(input.from),
      untilDay: input.until === undefined ? null : dateOf(input.until),
      amount: BigInt(input.amount),
      currency: input.currency,
      taxClass: input.taxClass,
      minutes: input.minutes,
      guaranteeKind: input.guarantee,
      part: input.part,
      opensCase: input.opensCase,
      pressureTest: input.pressureTest,
      completeService: input.completeService,
      recordedBy: who.name,
    },
    select: { id: true },
  })
  const [row] = await tx.$queryRawUnsafe<Price[]>(`select ${columns} from price where id = $1::uuid`, id)
  return { location: '/v1/prices', body: row! }
}

/** The list as it stands on a day: of each code and class the newest row that has begun, unless it has run out. */
export function pricesOn(db: Db, on: Day): Promise<Price[]> {
  return db.$queryRawUnsafe<Price[]>(
    `select ${columns} from (
       select distinct on (code, work_class) * from price where from_day <= $1::date order by code, work_class, from_day desc, id desc) p
     where until_day is null or until_day >= $1::date order by code, work_class nulls first`,
    on,
  )
}

/** The price of a code for a class of work on a day: the row of the class, else the one for every class. */
export function priceFor(prices: readonly Price[], code: string, workClass: string | null): Price | null {
  const ofCode = prices.filter((price) => price.code === code)
  return (
    ofCode.find((price) => workClass !== null && price.workClass === workClass) ??
    ofCode.find((price) => price.workClass === null) ??
    null
  )
}
