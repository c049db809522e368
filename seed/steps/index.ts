import { book } from './book.ts'
import { calibresAndGuidance } from './calibres.ts'
import { counter } from './counter.ts'
import { keys } from './keys.ts'
import { letters } from './letters.ts'
import { nightly } from './nightly.ts'
import { guidePrices } from './prices.ts'
import { rules } from './rules.ts'
import { centreSettings } from './settings.ts'
import type { Step } from './step.ts'
import { stock } from './stock.ts'
import { tickets } from './tickets.ts'

/** The demo's centre is built in this order; another step is one file and one line. */
export const steps: readonly Step[] = [
  keys,
  centreSettings,
  rules,
  guidePrices,
  calibresAndGuidance,
  book,
  counter,
  stock,
  nightly,
  tickets,
  letters,
]
