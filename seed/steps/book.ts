import { importBook } from '../../src/features/imports/imports.ts'
import { bookOf, factsIn, lotsOf } from '../invented/centre.ts'
import { doing, type Step } from './step.ts'

// a lot is one transaction: large enough to be quick, small enough to hold no lock for long
const WATCHES_A_LOT = 400

type Imported = { owners: { ref: string; id: string }[]; watches: { ref: string; id: string }[]; warnings: unknown[] }

export const book: Step = {
  name: 'The book of owners, watches and facts',
  run: async (demo, say) => {
    const { groups } = demo.centre
    const { country } = demo.service.config.centre
    let facts = 0
    let warnings = 0
    for (const lot of lotsOf(groups, WATCHES_A_LOT)) {
      const loaded = bookOf(lot)
      const { body } = await doing(demo, (act) => importBook(act, loaded, country))
      const { owners, watches, warnings: said } = body as Imported
      for (const { ref, id } of owners) demo.owners.set(ref, id)
      for (const { ref, id } of watches) demo.watches.set(ref, id)
      facts += factsIn(loaded)
      warnings += said.length
      say(`${demo.watches.size.toLocaleString('en')} watches`)
    }
    const count = (n: number) => n.toLocaleString('en')
    return `${count(demo.owners.size)} owners, ${count(demo.watches.size)} watches, ${count(facts)} facts; ${warnings} set aside with a warning`
  },
}
