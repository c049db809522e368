import { mergeOwners } from '../../src/features/owners/owners.ts'
import { doing, idOf, type Step } from './step.ts'

/** What the counter has put right in the loaded book by the morning of the demo's day. */
export const counter: Step = {
  name: 'Corrections at the counter',
  run: async (demo) => {
    const merges = demo.centre.groups.flatMap((group) => group.merge ?? [])
    for (const { record, into } of merges)
      await doing(demo, (act) => mergeOwners(act, idOf(demo.owners, record), idOf(demo.owners, into)))
    return `${merges.length} pairs of records merged`
  },
}
