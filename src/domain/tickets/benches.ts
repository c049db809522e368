import type { WorkClassName } from './classes.ts'

/** The work of the benches against their hours: what has to be done by skill, and where it will choke. Common practice, no source. */
export type Skill = 'cells-and-seals' | 'quartz' | 'three-hand' | 'chronograph' | 'vintage' | 'case'

/** The skill that a class of work asks of a bench; common practice, no source. */
export const skillOf: Readonly<Record<WorkClassName, Skill>> = {
  cell: 'cells-and-seals',
  strap: 'case',
  seals: 'cells-and-seals',
  case: 'case',
  quartz: 'quartz',
  'quartz-chronograph': 'quartz',
  thermocompensated: 'quartz',
  'three-hand': 'three-hand',
  chronograph: 'chronograph',
  vintage: 'vintage',
}

/** Classes whose final check is short. */
export const shortCheck: ReadonlySet<WorkClassName> = new Set(['cell', 'strap', 'seals'])

export type Standing = 'free' | 'tight' | 'over' | 'nobody'
export type Load = {
  readonly needed: number
  readonly available: number
  /** needed by available, to two decimals; null where nobody may do it */
  readonly load: number | null
  readonly standing: Standing
}

export function loadOf(needed: number, available: number, tightPercent: number): Load {
  if (available === 0) return { needed, available, load: null, standing: needed === 0 ? 'free' : 'nobody' }
  const over = needed > available
  const tight = needed * 100 > available * tightPercent
  return {
    needed,
    available,
    load: Math.round((needed / available) * 100) / 100,
    standing: over ? 'over' : tight ? 'tight' : 'free',
  }
}

type Bench = { readonly skills: readonly string[] }

/**
 * The load of each skill, every bench that has it counted whole; and the skills that choke together: of all sets of skills
 * the one with the highest load on the benches that have any of them. Each skill alone may look free where one bench has two.
 */
export function loadsOf(
  needed: Readonly<Partial<Record<Skill, number>>>,
  benches: readonly Bench[],
  minutesABench: number,
  tightPercent: number,
): {
  readonly skills: readonly (Load & { skill: Skill })[]
  readonly choke: (Load & { skills: readonly Skill[] }) | null
} {
  const asked = (Object.keys(needed) as Skill[]).filter((skill) => (needed[skill] ?? 0) > 0).sort()
  const together = (skills: readonly Skill[]): Load =>
    loadOf(
      skills.reduce((sum, skill) => sum + (needed[skill] ?? 0), 0),
      benches.filter((bench) => skills.some((skill) => bench.skills.includes(skill))).length * minutesABench,
      tightPercent,
    )
  let choke: (Load & { skills: readonly Skill[] }) | null = null
  for (let set = 1; set < 2 ** asked.length; set++) {
    const skills = asked.filter((_, i) => set & (2 ** i))
    const load = together(skills)
    const isWorse =
      load.load !== null && (choke === null || load.needed * choke.available > choke.needed * load.available)
    if (isWorse) choke = { skills, ...load }
  }
  return { skills: asked.map((skill) => ({ skill, ...together([skill]) })), choke }
}
