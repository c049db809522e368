import { addStaffKey } from '../../src/features/staff-keys/staff-keys.ts'
import { roles } from '../../src/http/service.ts'
import { doing, type Step } from './step.ts'

export const keys: Step = {
  name: 'A key for each role',
  run: async (demo) => {
    for (const role of roles) {
      const made = await doing(demo, (act) => addStaffKey(act, { name: `the demo's ${role}`, role }))
      demo.keys.set(role, (made.body as { key: string }).key)
    }
    return roles.join(', ')
  },
}
