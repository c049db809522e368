import { addCalibres } from '../../src/features/calibres/calibres.ts'
import { addGuidance } from '../../src/features/guidance/guidance.ts'
import { calibres, onFile } from '../invented/calibres.ts'
import { guidance } from '../invented/guidance.ts'
import { doing, idOf, type Step } from './step.ts'

export const calibresAndGuidance: Step = {
  name: 'Calibres and makers’ guidance',
  run: async (demo) => {
    const rows = await doing(demo, (act) => addCalibres(act, calibres.map(onFile)))
    for (const row of rows) demo.calibres.set(row.name, row.id)
    await doing(demo, async (act) => {
      for (const { calibre, ...said } of guidance)
        await addGuidance(act, { ...said, ...(calibre !== undefined && { calibreId: idOf(demo.calibres, calibre) }) })
    })
    return `${rows.length} calibres, ${guidance.length} words of makers`
  },
}
