import { inventCentre } from './invented/centre.ts'
import { demoConfig, demoDay, openDemo } from './house.ts'
import { steps } from './steps/index.ts'
import type { Demo } from './steps/step.ts'

const t0 = performance.now()
const config = demoConfig(process.env)
const { service, close } = await openDemo(config)
console.log('open', performance.now() - t0)
const demo: Demo = { service, today: demoDay, centre: inventCentre(1, demoDay), owners: new Map(), watches: new Map(), calibres: new Map(), keys: new Map() }
console.log('invented', performance.now() - t0)
for (const step of steps) {
  const t = performance.now()
  console.log(step.name, await step.run(demo, (p) => console.log(p, performance.now()-t)), performance.now() - t)
}
await close()
