import { addDays } from '../day.ts'
import { judgeReadings } from '../readings/judge.ts'
import { decided, type GateRule, looksAt, open, type Part, shut } from './gate-parts.ts'
import { agreedLines, newestVersion } from './gates-yes.ts'
import { isAfter, type Mark, type ObservationRule, type Snapshot, type VersionLine } from './snapshot.ts'

/** The parts of the newest version that were agreed, and are neither fitted nor struck out yet. */
function partsToCome(t: Snapshot): readonly VersionLine[] {
  const agreed = new Set(agreedLines(t))
  const settled = new Set(t.work.map((work) => work.line))
  return (newestVersion(t)?.lines ?? []).filter((line) => line.part && agreed.has(line.id) && !settled.has(line.id))
}

const sameWords = (a: string, b: string): boolean => a.trim().toLowerCase() === b.trim().toLowerCase()

/** G8: everything needed is on hand, the agreed parts too that nobody put on the list; a promised date only sets the next date. */
const parts: GateRule = (t) => {
  const unsaid = partsToCome(t).filter(
    (line) => !t.parts.some((part) => part.line === line.id || sameWords(part.what, line.what)),
  )
  if (t.parts.length === 0 && unsaid.length === 0) return { notAsked: 'no parts are waited for' }
  const missing = t.parts.filter((part) => !part.onHand)
  const deposits = t.settings.depositForSpecialOrders
    ? t.parts.filter((p) => p.special && p.deposit !== 'received')
    : []
  return {
    parts: [
      decided(
        missing.length === 0,
        'on-hand',
        'all parts are on hand',
        `waited for: ${missing.map((part) => part.what).join(', ')}`,
        'record that the part has come, or price the work without it',
        'manager',
      ),
      decided(
        unsaid.length === 0,
        'agreed-parts',
        'of each agreed part it is said whether it is on hand',
        `nobody has said whether it is on hand: ${unsaid.map((line) => line.what).join(', ')}`,
        'put the part on the list of parts, on hand or awaited',
        'manager',
      ),
      decided(
        deposits.length === 0,
        'deposit',
        'no deposit is outstanding',
        'a deposit for a special order is outstanding',
        'take the deposit',
        'manager',
      ),
    ],
    ...looksAt(newestVersion(t), t.revoked, ...t.answers, ...t.parts),
  }
}

/** G9: checked for this version with every agreed part in it, right designation, a cell that will last, gaskets within storage life, tools in date, a bench with the skill. */
const kit: GateRule = (t) => {
  const version = newestVersion(t)
  const marks = looksAt(t.kit, version, t.revoked, ...t.answers)
  const k = t.kit
  if (!k)
    return {
      parts: [shut('kit', 'the kit was not checked', 'check the kit against the agreed lines', 'manager')],
      ...marks,
    }
  const cellFits = k.cell === 'none' || k.cell === 'full'
  const left = partsToCome(t).filter((line) => !k.lines.includes(line.id))
  return {
    parts: [
      decided(
        version === null || k.seq > version.seq,
        'version',
        'the kit was checked for this version',
        `the kit was checked before version ${version?.n} was made`,
        'check the kit against the lines of this version',
        'manager',
      ),
      decided(
        left.length === 0,
        'parts',
        'every agreed part lies in it',
        `not in the kit: ${left.map((line) => line.what).join(', ')}`,
        'put the part in, and check the kit again with its line and lot',
        'manager',
      ),
      decided(
        k.designationRight,
        'designation',
        'the right designation',
        'the designation does not fit this watch',
        'change the part',
        'nobody',
      ),
      decided(
        cellFits,
        'cell',
        'the cell will outlast its next change',
        k.cell === 'short' ? 'the cell is of short life' : 'the cell is not to be fitted',
        k.cell === 'short'
          ? 'take a full-life cell; or a manager signs and the owner is told of the short life'
          : 'take another cell',
        k.cell === 'short' && k.shortLifeNote ? 'manager' : 'nobody',
      ),
      decided(
        k.gasketsInLife,
        'gaskets',
        'the gaskets are within storage life',
        'a gasket is past its storage life',
        'take another lot',
        'nobody',
      ),
      decided(
        k.toolsInDate,
        'tools',
        'the tools are in calibration',
        'a tool is out of calibration',
        'take a tool that is in calibration',
        'manager',
      ),
      decided(
        k.benchHasSkill,
        'bench',
        'the bench has the skill',
        'the bench lacks the skill',
        'give it to a bench that has the skill',
        'manager',
      ),
    ],
    ...marks,
  }
}

/** G10: every agreed line is done or struck out with a reason; every fitted item has a lot, or says why not; none was called back. */
const done: GateRule = (t) => {
  const closed = new Set(t.work.filter((w) => w.state === 'done' || (w.reason ?? '') !== '').map((w) => w.line))
  const version = newestVersion(t)
  const undone = agreedLines(t).filter((line) => !closed.has(line))
  const names = undone.map((line) => version?.lines.find((l) => l.id === line)?.what ?? line)
  const recalled = t.fitted.filter((item) => item.recalled)
  const unknown = t.fitted.filter((item) => !item.lotKnown && (item.because ?? '') === '')
  return {
    parts: [
      decided(
        undone.length === 0,
        'lines',
        'every agreed line is done or struck out',
        `neither done nor struck out: ${names.join(', ')}`,
        'do the line, or strike it out with a reason',
        'final-checker',
      ),
      decided(
        unknown.length === 0,
        'lots',
        'every fitted item has its lot or says why not',
        `fitted without a lot: ${unknown.map((item) => item.what).join(', ')}`,
        'name the lot, or say why it is not known',
        'final-checker',
      ),
      decided(
        recalled.length === 0,
        'recall',
        'no fitted piece was called back by its supplier',
        `called back by its supplier: ${recalled.map((item) => item.what).join(', ')}`,
        'fit one of another lot in its place',
        'nobody',
      ),
    ],
    ...looksAt(version, t.revoked, ...t.answers, ...t.work, ...t.fitted),
  }
}

/** The instant after which readings and the final check have to lie: the end of the last work on the watch. */
export function lastWorkedAt(t: Snapshot): { at: number; seq: number } | null {
  let last: { at: number; seq: number } | null = null
  const see = (mark: Mark, at: number) => {
    const seen = { at, seq: mark.seq }
    if (last === null || isAfter(seen, last)) last = seen
  }
  for (const work of t.work) if (work.state === 'done') see(work, work.endedAt)
  for (const mark of [...t.openings, ...t.closings, ...t.fitted]) see(mark, mark.at)
  return last
}

/** The order of the last work that was written down: what is written later counts as later, whatever hour it is given. */
export const lastWrittenSeq = (t: Snapshot): number =>
  [...t.work.filter((work) => work.state === 'done'), ...t.openings, ...t.closings, ...t.fitted].reduce(
    (most, mark) => Math.max(most, mark.seq),
    0,
  )

/** Why no readings are asked for, or why that cannot be said: work whose class nobody named, or named too small. */
function unasked(t: Snapshot): ReturnType<GateRule> {
  const marks = looksAt(t.observation.classSaid, ...t.work, ...t.openings, ...t.closings, ...t.fitted)
  const { classKnown, movementWorked } = t.observation
  if (t.ticket.undone) return { notAsked: 'the watch goes back undone' }
  if (!classKnown && lastWorkedAt(t) === null) return { notAsked: 'nothing was done to the watch yet' }
  if (classKnown && !movementWorked) return { notAsked: 'this class of work asks for no readings' }
  const why = classKnown
    ? 'the movement was worked on, and the class of work that was named asks for no readings'
    : 'the watch was worked on, and no class of work is named'
  const opens = 'record a look that names the class of the work that was done'
  return { parts: [shut('class', why, opens, 'final-checker')], ...marks }
}

/** Only what was measured on a tool in calibration counts; one found out of tolerance since then leaves it in doubt. */
const onGoodTool = (reading: Snapshot['observation']['readings']['list'][number]): boolean =>
  reading.toolInDate && !reading.toolDoubtful

/** G12: the readings of its class are complete, the hours really over, and the values within tolerance or accepted. */
const keepsTime: GateRule = (t) => {
  const { asked } = t.observation
  if (!asked) return unasked(t)
  const after = lastWorkedAt(t)
  const written = lastWrittenSeq(t)
  const taken = t.observation.readings.list.filter(
    (reading) => reading.seq > written && (after === null || isAfter(reading, after)),
  )
  const readings = taken.filter(onGoodTool)
  const marks = looksAt(
    t.observation.classSaid,
    t.observation.accepted,
    ...t.work,
    ...t.openings,
    ...t.closings,
    ...t.observation.readings.list,
  )
  const missing = missingReadings(asked, readings, t.observation.powerReserveHours)
  const bad = taken.length - readings.length
  const onBadTools = bad === 0 ? '' : ` (${bad} taken on a tool that is out of calibration, blocked or in doubt)`
  // hours of an observation that work came after do not count
  const { started } = t.observation
  const begun = started !== null && started.seq > written && (after === null || started.at >= after.at)
  const hours = begun ? (t.now - started.at) / 3_600_000 : null
  const found: Part[] = [
    decided(
      missing.length === 0,
      'complete',
      'the readings are complete',
      `readings are missing after the last work: ${missing.join(', ')}${onBadTools}`,
      'take the missing readings on a tool that is in calibration',
      'final-checker',
    ),
  ]
  if (asked.hours === null) {
    found.push(
      shut(
        'hours',
        'the hours of observation are not set',
        'stop and ask: the manager sets the hours for this class of work',
        'final-checker',
      ),
    )
  } else {
    const over = asked.hours === 0 || (hours !== null && hours >= asked.hours)
    found.push(
      decided(
        over,
        'hours',
        'the hours of observation are over',
        `${asked.hours} hours of observation are asked and ${hours === null ? 'none have begun' : `${Math.floor(hours)} are over`}`,
        'wait until the hours are over',
        'final-checker',
      ),
    )
  }
  const verdicts = judgeReadings(t.observation.readings.kind, readings, t.observation.tolerances)
  const outside = verdicts.filter((verdict) => !verdict.within)
  const accepted = t.observation.accepted !== null && taken.every((r) => r.seq < t.observation.accepted!.seq)
  found.push(
    outside.length === 0
      ? open('values', 'the values lie within tolerance')
      : accepted
        ? open('values', `accepted by name: ${t.observation.accepted!.reason}`)
        : shut(
            'values',
            outside.map((verdict) => verdict.words).join('; '),
            'regulate it, or accept the values by name with a reason',
            'final-checker',
          ),
  )
  return { parts: found, ...marks }
}

function missingReadings(
  asked: ObservationRule,
  readings: Snapshot['observation']['readings']['list'],
  reserve: number | null,
): string[] {
  if (asked.kind === 'quartz') {
    return asked.values.filter((name) => !readings.some((reading) => (reading.values[name] ?? null) !== null))
  }
  const missing: string[] = []
  for (const wind of asked.winds) {
    for (const position of asked.positions) {
      const found = readings.some((reading) => {
        if (reading.wind !== wind || reading.position !== position) return false
        // a beat error alone says nothing of how it goes
        if ((reading.values.rate ?? null) === null || (reading.values.amplitude ?? null) === null) return false
        const hours = reading.hoursSinceWound
        if (hours === null) return false
        return wind === 'full' ? hours >= 1 && hours < 24 : hours >= 24 && (reserve === null || hours <= reserve)
      })
      if (!found) missing.push(`${position} ${wind === 'full' ? 'at full wind' : 'after 24 h'}`)
    }
  }
  return missing
}

/** G13: the final check, after the last operation and closing, by somebody who did no work on this ticket, the views of the booking-in taken again. */
const secondEyesOn = (t: Snapshot) => {
  const check = t.finalCheck
  const marks = looksAt(check, ...t.work, ...t.openings, ...t.closings, ...t.water.tests, ...t.finalPictures)
  const to = 'let another qualified person make the final check'
  if (!check) return { parts: [shut('check', 'there was no final check', to, 'manager')], ...marks }
  const after = lastWorkedAt(t)
  const written = lastWrittenSeq(t)
  const seen = new Set(t.finalPictures.filter((picture) => picture.seq > written).map((picture) => picture.view))
  const unseen = [...new Set(t.pictures.map((picture) => picture.view))].filter((view) => !seen.has(view))
  const workedOn = t.workers.get(check.by)
  const nextDay = t.settings.sameCheckerNextDay && workedOn !== undefined && check.on >= addDays(workedOn, 1)
  return {
    parts: [
      decided(
        check.passed,
        'check',
        'the final check was passed',
        'the final check was not passed',
        'mend what was found and check again',
        'manager',
      ),
      decided(
        written < check.seq && (after === null || isAfter(check, after)),
        'after',
        'it came after the last work',
        'the watch was worked on after the final check',
        to,
        'manager',
      ),
      decided(
        check.mayCheck,
        'may-check',
        'the checker may check',
        'the checker is not one who may check',
        to,
        'manager',
      ),
      decided(
        unseen.length === 0,
        'pictures',
        'the views of the booking-in were taken again',
        `views of the booking-in were not taken again after the last work: ${unseen.join(', ')}`,
        'take the same views again and put them to the ticket as pictures of the final check',
        'manager',
      ),
      decided(
        workedOn === undefined || nextDay,
        'other-person',
        nextDay
          ? 'by the same person on a later day, as the house allows, and marked so'
          : 'by somebody who did no work on it',
        'the checker worked on this ticket',
        t.settings.sameCheckerNextDay ? `${to}, or the same person from the next day on` : to,
        'manager',
      ),
    ],
    ...marks,
  }
}

/** Whether a second person's check stands, with nothing overridden and nobody's own work checked the day after. */
export const checkedByAnother = (t: Snapshot): boolean =>
  t.finalCheck !== null && !t.workers.has(t.finalCheck.by) && secondEyesOn(t).parts.every((part) => part.open)

const secondEyes: GateRule = secondEyesOn

export const completionGates = { G8: parts, G9: kit, G10: done, G12: keepsTime, G13: secondEyes }
