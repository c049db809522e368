import { categoryOne, categoryTwo, judgeProgramme } from '../../domain/readings/chronometer.ts'
import { amplitudeOf, beatErrorOf, ppmOf, rateOf } from '../../domain/readings/computed.ts'
import { faulty } from '../../domain/refusals.ts'

export type Heard = {
  beatsPerHour?: number | undefined
  beatPeriodSeconds?: number | undefined
  liftAngle?: number | undefined
  liftTimeSeconds?: number | undefined
  ticTocMs?: number | undefined
  tocTicMs?: number | undefined
  dailyRates?: (number | null)[] | undefined
  category: 'larger' | 'smaller'
}

/** What is worked out of each measured value, and what it cannot be worked out without. */
const needs = [
  ['beatPeriodSeconds', 'beatsPerHour', 'a rate needs the beat of the calibre'],
  ['liftTimeSeconds', 'beatsPerHour', 'an amplitude needs the beat of the calibre'],
  ['liftTimeSeconds', 'liftAngle', 'an amplitude needs the lift angle of the calibre'],
  ['ticTocMs', 'tocTicMs', 'a beat error needs both beats'],
  ['tocTicMs', 'ticTocMs', 'a beat error needs both beats'],
] as const satisfies readonly (readonly [keyof Heard, keyof Heard, string])[]

/** Readings worked out from what an instrument hears; nothing is recorded. Refused where a value for it is missing. */
export function workedOut(heard: Heard) {
  const { beatsPerHour, beatPeriodSeconds, liftAngle, liftTimeSeconds, ticTocMs, tocTicMs, dailyRates } = heard
  const missing = needs.filter(([measured, with_]) => heard[measured] !== undefined && heard[with_] === undefined)
  if (missing.length > 0) throw faulty(...missing.map(([, with_, why]) => [`/${with_}`, `is missing: ${why}`] as const))
  if (needs.every(([measured]) => heard[measured] === undefined) && dailyRates === undefined)
    throw faulty(['', 'is nothing to work out: give beatPeriodSeconds, liftTimeSeconds, ticTocMs or dailyRates'])
  const rate =
    beatsPerHour !== undefined && beatPeriodSeconds !== undefined ? rateOf(beatsPerHour, beatPeriodSeconds) : null
  const lifted = beatsPerHour !== undefined && liftAngle !== undefined && liftTimeSeconds !== undefined
  const amplitude = lifted ? amplitudeOf(liftAngle, liftTimeSeconds, beatsPerHour) : null
  if (lifted && (amplitude === null || amplitude > 360))
    throw faulty(['/liftTimeSeconds', 'is no lift time of this beat and lift angle: no balance swings so far'])
  return {
    rate,
    ppm: rate === null ? null : ppmOf(rate),
    amplitude,
    beatError:
      ticTocMs !== undefined && tocTicMs !== undefined
        ? { half: beatErrorOf(ticTocMs, tocTicMs, 'half'), full: beatErrorOf(ticTocMs, tocTicMs, 'full') }
        : null,
    programme:
      dailyRates === undefined
        ? null
        : judgeProgramme(dailyRates, heard.category === 'larger' ? categoryOne : categoryTwo),
  }
}
