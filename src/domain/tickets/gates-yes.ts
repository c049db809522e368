import { inWords, isAbove } from '../money.ts'
import { decided, type GateRule, looksAt, open, type Part, shut } from './gate-parts.ts'
import type { Answer, Snapshot, Version, VersionLine } from './snapshot.ts'

export const newestVersion = (t: Pick<Snapshot, 'versions'>): Version | null =>
  t.versions.reduce<Version | null>(
    (newest, version) => (newest === null || version.n > newest.n ? version : newest),
    null,
  )

/** The pre-agreed ceiling: it ends with a version above it, a no to any version, or a revocation; it never covers a version above it that was there before. */
export function ceilingStands(t: Pick<Snapshot, 'ceiling' | 'versions' | 'answers' | 'revoked'>): boolean {
  const { ceiling } = t
  if (!ceiling) return false
  if (t.revoked && t.revoked.seq > ceiling.seq) return false
  if (t.answers.some((answer) => answer.answer === 'no' && answer.seq > ceiling.seq)) return false
  const newest = newestVersion(t)
  return !t.versions.some(
    (version) => (version === newest || version.seq > ceiling.seq) && isAbove(version.total, ceiling.amount) !== false,
  )
}

/** The answer that counts for each line of a version: the last one by an entitled person. */
export function answersTo(t: Pick<Snapshot, 'answers'>, version: Version): ReadonlyMap<string, Answer> {
  const found = new Map<string, Answer>()
  for (const answer of t.answers) {
    if (answer.version !== version.n || !answer.entitled) continue
    const earlier = found.get(answer.line)
    if (!earlier || answer.seq > earlier.seq) found.set(answer.line, answer)
  }
  return found
}

/** The manager's goodwill for the newest version, while nothing that bears on the yes was recorded after it. */
function goodwillStands(t: Snapshot, version: Version): boolean {
  const { bearing } = looksAt(version, t.ceiling, t.revoked, ...t.answers)
  return t.overrides.some((o) => o.gate === 'G7' && o.part === 'goodwill' && o.role === 'manager' && o.seq > bearing)
}

/** Lines of the newest version that were said yes to, by answers, the ceiling or goodwill; empty where none holds. */
export function agreedLines(t: Snapshot): readonly string[] {
  const version = newestVersion(t)
  if (!version) return []
  const revokedSeq = t.revoked?.seq ?? 0
  const answers = answersTo({ answers: t.answers.filter((answer) => answer.seq > revokedSeq) }, version)
  if (answers.size === 0) {
    const all = ceilingStands(t) || (wasAgreedAtOrAbove(t, version) && goodwillStands(t, version))
    return all ? version.lines.map((line) => line.id) : []
  }
  return version.lines.filter((line) => answers.get(line.id)?.answer === 'yes').map((line) => line.id)
}

/** Whether a line is required, itself or by way of others, by one that opens the case. */
function leadsToOpening({ lines }: Version, line: VersionLine): boolean {
  let at: VersionLine | undefined = line
  for (let hops = 0; at && hops <= lines.length; hops++) {
    const { requiredBy }: VersionLine = at
    at = lines.find((one) => one.id === requiredBy)
    if (at?.opensCase) return true
  }
  return false
}

/** G6: each line has price and tax class, a pressure test goes with every opening, and the price has an end. */
const price: GateRule = (t) => {
  const version = newestVersion(t)
  const marks = looksAt(version)
  if (!version || version.lines.length === 0) {
    return {
      parts: [shut('version', 'there is no estimate', 'make an estimate with at least one line', 'nobody')],
      ...marks,
    }
  }
  const bare = version.lines.filter((line) => !line.priced || !line.taxClassKnown)
  const parts: Part[] = [
    decided(
      bare.length === 0,
      'lines',
      'each line has its price and tax class',
      `without price or tax class: ${bare.map((line) => line.what).join(', ')}`,
      'price the line and name its tax class',
      'nobody',
    ),
    decided(
      version.validUntil !== null,
      'validity',
      `valid until ${version.validUntil}, that day included`,
      'the estimate has no end of validity',
      'say until when the price is valid',
      'nobody',
    ),
  ]
  const opening = version.lines.find((line) => line.opensCase)
  if (opening && t.watch.claim !== 'none' && t.water.withdrawn === null) {
    const tested = version.lines.some((line) => line.pressureTest && leadsToOpening(version, line))
    parts.push(
      decided(
        tested,
        'pressure-test',
        'the pressure test is required by the opening',
        `${opening.what} opens a case with a water claim and no pressure test is required by it`,
        'add the pressure test, required by the line that opens the case',
        'nobody',
      ),
    )
  }
  return { parts, ...marks }
}

/** G7: a yes from somebody entitled, for this version, by line, within its validity; or the ceiling agreed before. */
const theYes: GateRule = (t) => {
  const version = newestVersion(t)
  const marks = looksAt(version, t.ceiling, t.revoked, ...t.answers)
  const to = 'get an answer to each line from somebody entitled to approve'
  if (!version) return { parts: [shut('yes', 'there is no estimate', 'make an estimate', 'nobody')], ...marks }
  if (
    t.revoked &&
    t.revoked.seq > version.seq &&
    !ceilingStands(t) &&
    !t.answers.some((a) => a.version === version.n && a.seq > t.revoked!.seq)
  ) {
    return { parts: [shut('yes', 'the owner has taken the yes back', to, 'nobody')], ...marks }
  }
  const revokedSeq = t.revoked?.seq ?? 0
  const answers = answersTo({ answers: t.answers.filter((answer) => answer.seq > revokedSeq) }, version)
  if (answers.size === 0) {
    if (ceilingStands(t)) {
      return { parts: [open('yes', `within the ${inWords(t.ceiling!.amount)} agreed at booking-in`)], ...marks }
    }
    const goodwill = wasAgreedAtOrAbove(t, version)
    return {
      parts: [
        shut(
          goodwill ? 'goodwill' : 'yes',
          `nobody has answered version ${version.n}`,
          to,
          goodwill ? 'manager' : 'nobody',
        ),
      ],
      ...marks,
    }
  }
  const open_ = version.lines.filter((line) => !answers.has(line.id))
  const yes = version.lines.flatMap((line) => {
    const answer = answers.get(line.id)
    return answer?.answer === 'yes' ? [answer] : []
  })
  const late = yes.filter((answer) => version.validUntil === null || answer.on > version.validUntil)
  const above = yes.filter((answer) => isAbove(answer.total, version.total) !== false)
  const unconfirmed = yes.filter(
    (answer) => answer.how === 'phone' && !answer.confirmedInWriting && phoneNeedsPaper(t, answer),
  )
  const parts = [
    decided(
      open_.length === 0,
      'each-line',
      'each line is answered',
      `not answered: ${open_.map((l) => l.what).join(', ')}`,
      to,
      'nobody',
    ),
    decided(
      yes.length > 0,
      'yes',
      'at least one line has a yes',
      'no line has a yes',
      'return the watch undone, or price it anew',
      'nobody',
    ),
    decided(
      late.length === 0,
      'validity',
      'the yes came within the validity',
      `the price was valid until ${version.validUntil} and the yes came later`,
      'renew the price with a new version and ask again',
      'nobody',
    ),
    decided(
      above.length === 0,
      'total',
      'the total is not above the version',
      'the total said yes to is above this version',
      to,
      'nobody',
    ),
    decided(
      unconfirmed.length === 0,
      'confirmation',
      'no written confirmation is wanted',
      t.settings.phoneYesUpTo === null
        ? 'the amount up to which a yes by telephone is enough is not set'
        : `a yes by telephone above ${inWords(t.settings.phoneYesUpTo)} wants a written confirmation`,
      'get the confirmation in writing',
      'nobody',
    ),
  ]
  return { parts, ...marks }
}

const phoneNeedsPaper = (t: Snapshot, answer: Answer): boolean =>
  t.settings.phoneYesUpTo === null || isAbove(answer.total, t.settings.phoneYesUpTo) !== false

/** A version that only lowers what was agreed before may go on by the manager's goodwill: down, never up. */
function wasAgreedAtOrAbove(t: Snapshot, version: Version): boolean {
  const revokedSeq = t.revoked?.seq ?? 0
  return t.versions.some((earlier) => {
    if (earlier.n >= version.n) return false
    const yes = [...answersTo(t, earlier).values()].filter(
      (answer) => answer.answer === 'yes' && answer.seq > revokedSeq,
    )
    return yes.length > 0 && yes.every((answer) => isAbove(version.total, answer.total) === false)
  })
}

export const agreementGates = { G6: price, G7: theYes }
