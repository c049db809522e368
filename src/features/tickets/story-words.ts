import { inWords, type Money } from '../../domain/money.ts'
import { testWords } from '../../domain/tickets/gates-water.ts'
import type { TestKind } from '../../domain/tickets/snapshot.ts'
import { type GateName, gateTitles } from '../../domain/tickets/steps.ts'

const text = (value: unknown): string => (value === null || value === undefined || value === '' ? '' : String(value))
const list = (values: unknown): string => (Array.isArray(values) ? values.map(text).join(', ') : '')
const money = (value: unknown): string =>
  value && typeof value === 'object' ? inWords(value as Money) : 'none declared'

type Data = Record<string, unknown>
const said = (value: unknown, words: (value: string) => string): string =>
  text(value) === '' ? '' : words(text(value))
const joined = (parts: readonly string[], by = ', '): string => parts.filter((part) => part !== '').join(by)
const yes = (value: unknown, words: string, otherwise = ''): string =>
  value === true ? words : value === false ? otherwise : ''
const unknownless = (value: unknown, words: string): string =>
  value === 'yes' ? words : value === 'no' ? `not ${words}` : value === 'unknown' ? `unknown whether ${words}` : ''

const marks = (list: Data[] | null): string =>
  list === null
    ? 'no list of marks'
    : list.length === 0
      ? 'no marks'
      : `${list.length === 1 ? '1 mark' : `${list.length} marks`} (${list.map((one) => `${plain(one.kind)} ${text(one.place)}${said(one.lengthMm, (mm) => `, ${mm} mm long`)}`).join('; ')})`
const plain = (code: unknown) => text(code).replace(/(?<!\be)-/g, ' ')
const named = (names: unknown): string => said(list(names), (all) => `, ${all}`)
const agreedWords = (d: Data): string =>
  text(d.agreed).startsWith('opened')
    ? `parcel opened${said(d.openedBy, (by) => ` by ${by}`)} before ${d.agreed === 'opened-before-camera' ? 'the camera' : text(d.openedBefore) || 'a witness'}`
    : `agreed by ${plain(d.agreed) || 'nobody'}`
type GateSaid = { gate: GateName; state: string; overridden: { part: string; reason: string }[] }

const moveWords = (d: Data): string => {
  const gates = ((d.gates ?? []) as GateSaid[])
    .filter((gate) => gate.state !== 'not-asked')
    .map(
      (gate) =>
        `${gate.gate} ${gateTitles[gate.gate]} ${gate.overridden.length > 0 ? `overridden (${gate.overridden.map((o) => o.reason).join('; ')})` : gate.state}`,
    )
  return `from "${plain(d.from)}" to "${plain(d.to)}"${d.reason ? `: ${text(d.reason)}` : ''}${gates.length > 0 ? `. Gates: ${gates.join(', ')}` : ''}`
}

const units: Readonly<Record<string, readonly [string, string]>> = {
  rate: ['rate', ''],
  amplitude: ['amplitude', '°'],
  beatError: ['beat error', 'ms'],
  consumption: ['consumption', 'µA'],
  consumptionInReset: ['consumption in reset', 'µA'],
  lowerWorkingVoltage: ['lower working voltage', 'V'],
  cellVoltageOpen: ['cell voltage', 'V'],
  cellVoltageUnderLoad: ['cell voltage under load', 'V'],
  coilResistance: ['coil resistance', 'kohm'],
  pulseInterval: ['pulse interval', 's'],
  pulseWidth: ['pulse width', 'ms'],
}

/** The pressure of a test, in bar and as its tester showed it. */
const pressed = (d: Data): string => {
  const shown = d.pressure as { value: number; unit: string } | undefined
  const as = shown && shown.unit !== 'bar' ? ` (${shown.value} ${shown.unit})` : ''
  return said(d.bar, (bar) => ` at ${bar} bar${as}`)
}

const values = (d: Data): string =>
  Object.entries((d.values ?? {}) as Record<string, number | null>)
    .filter(([, value]) => value !== null)
    .map(([name, value]) => {
      const [words, unit] = units[name] ?? [name, '']
      return `${words} ${value} ${name === 'rate' ? (d.family === 'quartz' ? 's/month' : 's/d') : unit}`.trim()
    })
    .join(', ')

/** What was added to the record of where it came from and what it was measured with. */
const lot = (d: Data): string =>
  joined(
    [said(d.lotNamed, (name) => `, from lot ${name}`), said(d.lotUnknownBecause, (why) => `, lot unknown: ${why}`)],
    '',
  )
const tool = (d: Data): string => said(d.toolNamed, (name) => `, by ${name}`)

const oil = (one: string | Data): string =>
  typeof one === 'string' ? one : `${text(one.kind)}${said(one.lot, (number) => ` (lot ${number})`)}`

/** What each kind of record of a ticket says, in one plain sentence. */
const ofRecords: Readonly<Record<string, (d: Data) => string>> = {
  booked: (d) =>
    `booked in${said(d.earlierNumber, (number) => `, back after ticket ${number}`)}: "${text(d.complaint)}"`,
  people: (d) =>
    `may approve: the owner${named(d.approve)}; may collect: the owner${named(d.collect)}${said(d.authorisedBy, (by) => `, on the word of ${by}`)}${said(d.how, (how) => ` (${plain(how)})`)}${yes(d.willCallIn, '; the owner will call in')}`,
  condition: (d) =>
    `condition: ${joined([
      marks((d.marks ?? null) as Data[] | null),
      `clasp ${plain(d.clasp)}`,
      unknownless(d.runs, 'running'),
      said(d.timeShown, (shown) => `showing ${shown}${said(d.timeTrue, (time) => ` at ${time}`)}`),
      said(d.crown, (crown) => `crown ${crown}`),
      said(d.linksCounted, (links) => `${links} links`),
      said(d.strap, (strap) => `strap: ${strap}`),
      yes(d.box, 'box received'),
      yes(d.papers, 'papers received'),
      said(d.smell, (smell) => `smell of ${smell}`),
      unknownless(d.magnetised, 'magnetised'),
      unknownless(d.waterSigns, 'showing signs of water'),
      said(d.functions, (functions) => `functions: ${functions}`),
    ])}; ${agreedWords(d)}`,
  value: (d) => `declared value ${money(d.value)}`,
  cover: (d) => `cover arranged: ${text(d.words)}`,
  'do-not': (d) => `what must not be done: ${plain(list(d.list)) || 'nothing'}`,
  ceiling: (d) =>
    `agreed in advance up to ${money(d.amount)}${said(d.person, (person) => `, by ${person}`)}${said(d.how, (how) => ` (${plain(how)})`)}`,
  'hazard-seen': (d) => `hazard seen: ${plain(d.kind)} ${text(d.note)}`.trim(),
  'hazard-confirmed': (d) => `handling note confirmed at ${text(d.benchName)}${said(d.note, (note) => `: ${note}`)}`,
  'hazard-over': (d) => `hazard over: ${text(d.words)}`,
  move: moveWords,
  side: (d) => {
    const outside = d.outside as Data | undefined
    return d.state === null
      ? `left ${plain(d.left)}: ${text(d.reason)}`
      : `put aside as ${plain(d.state)} until ${text(d.until)}: ${text(d.reason)}${outside ? `; at ${text(outside.specialist)}, slip ${text(outside.slip)}, insured by ${text(outside.insurance)}` : ''}`
  },
  override: (d) =>
    `gate ${text(d.gate)} ${gateTitles[d.gate as GateName] ?? ''} overridden (${plain(d.part)}) by a ${plain(d.role)}: ${text(d.reason)}`,
  look: (d) =>
    `looked over: ${text(d.findings)}${said(d.workClass, (name) => `; class of work: ${plain(name)}`)}${list(d.signs) ? `; signs: ${list(d.signs)}` : ''}`,
  parts: (d) =>
    `parts: ${
      ((d.lines ?? []) as Data[])
        .map((line) =>
          line.onHand
            ? `${text(line.what)} on hand`
            : joined([
                `${text(line.what)} awaited`,
                said(line.orderedOn, (on) => `ordered ${on}${said(line.supplier, (name) => ` from ${name}`)}`),
                said(line.expectedOn, (on) => `expected ${on}`),
                said(line.chasedOn, (on) => `chased ${on}`),
                said(line.supplierSays, (says) => `the supplier says: ${says}`),
                line.deposit === 'awaited' ? 'deposit awaited' : line.deposit === 'received' ? 'deposit received' : '',
              ]),
        )
        .join('; ') || 'none'
    }`,
  kit: (d) =>
    `kit checked, ${joined([
      d.cell === 'none'
        ? 'no cell'
        : d.cell === 'full'
          ? 'a cell of full life'
          : d.cell === 'short'
            ? 'a cell of short life'
            : 'a cell that is not to be fitted',
      yes(d.shortLifeNote, 'with the note on its short life'),
      yes(d.designationRight, 'the right designation', 'not the right designation'),
      yes(d.gasketsInLife, 'gaskets within their storage life', 'gaskets past their storage life'),
      yes(d.toolsInDate, 'tools in date', 'tools out of date'),
      yes(d.benchHasSkill, 'the bench has the skill', 'the bench has not the skill'),
      said(d.benchName ?? d.bench, (bench) => `for ${bench}`),
    ])}`,
  opening: (d) =>
    joined(
      [
        `case opened: ${text(d.reason)}`,
        ...((d.inventory as Data[] | undefined) ?? []).map((one) =>
          joined([`${text(one.part)}: ${text(one.words)}`, said(one.number, (number) => `number ${number}`)]),
        ),
      ],
      '; ',
    ),
  closing: (d) =>
    `case closed${said(d.back, (back) => `, ${plain(back)} back`)}${said(d.torqueNcm, (ncm) => ` at ${ncm} Ncm`)}${said(d.words, (words) => `: ${words}`)}`,
  operation: (d) =>
    d.state === 'struck'
      ? `struck out: ${text(d.what)}, ${text(d.reason)}`
      : `done: ${joined(
          [
            text(d.what),
            d.carriedFrom ? 'before the new version, which repeats it' : '',
            said(d.finding, (finding) => finding),
            said(d.minutes, (minutes) => `${minutes} min`),
            said(d.benchName, (bench) => `at ${bench}`),
            list(d.toolsNamed) ? `with ${list(d.toolsNamed)}` : '',
            list(d.oils) ? `oils: ${list(((d.oils ?? []) as (string | Data)[]).map(oil))}` : '',
            said(d.remarks, (remarks) => remarks),
            d.magnetismBefore || d.magnetismAfter
              ? `magnetism ${text(d.magnetismBefore) || 'not measured'} before, ${text(d.magnetismAfter) || 'not measured'} after`
              : '',
            list(d.cures) ? `cured without a service: ${list(d.cures)}` : '',
            ...((d.oldParts as Data[] | undefined) ?? []).map(
              (one) =>
                `old part ${text(one.words)}, ${one.leftBy ? `left by ${text(one.leftBy)}` : `in bag ${text(one.bag)}`}`,
            ),
          ],
          '; ',
        )}`,
  fitting: (d) =>
    d.opening === 'cell-removed'
      ? `cell taken out${yes(d.leaking, ', leaking')}${said(d.words, (words) => `: ${words}`)}`
      : `fitted: ${joined([
          text(d.what),
          text(d.material),
          said(d.innerMm, (inner) => `inner diameter ${inner} mm`),
          said(d.cordMm, (cord) => `cord ${cord} mm`),
          said(d.profile, (profile) => `profile ${profile}`),
          Number(d.pieces) > 1 ? `${text(d.pieces)} pieces` : '',
          said(d.bestBefore, (until) => `best before ${until}`),
          said(d.serial, (serial) => `serial ${serial}`),
          said(d.condition, plain),
          said(d.conditionSeen, (seen) => `the old one ${plain(seen)}`),
          said(d.greasedWith, (grease) => `greased with ${grease}`),
        ])}${lot(d)}`,
  'seals-seen': (d) =>
    `seals seen: ${((d.seals ?? []) as Data[]).map((seal) => `${text(seal.position)} ${text(seal.condition)}`).join(', ')}`,
  reading: (d) =>
    `reading ${text(d.position)} ${d.wind === 'none' ? '' : plain(d.wind)}: ${values(d)}${d.liftAngleAssumed === true ? `, lift angle ${text(d.liftAngle)}° assumed` : ''}${tool(d)}${d.toolInDate === false ? ' (out of calibration)' : ''}`.replace(
      / +/g,
      ' ',
    ),
  'water-test': (d) =>
    `${testWords[d.test as TestKind] ?? 'water test'}: ${d.passed ? `passed${pressed(d)} on this date${d.counts === false ? `; it opens no gate, ${list(d.shortcomings)}` : ''}` : `failed${pressed(d)}, ${list(d.because)}`}${tool(d)}`,
  'water-not-tested': (d) => `not tested for water: ${text(d.because)}`,
  'readings-accepted': (d) => `values accepted: ${text(d.reason)}`,
  'water-agreement': (d) =>
    `test agreed at ${d.bar === null ? 'no pressure' : `${text(d.bar)} bar`}: ${list((d.needed as TestKind[] | undefined)?.map((kind) => testWords[kind]))}${yes(d.ownerConsents, '; the owner consents to a gentle test')}`,
  'claim-withdrawn': (d) =>
    `no longer to be treated as water-resistant: owner ${d.ownerSigned ? 'signed' : 'not yet'}, manager ${d.managerSigned ? 'signed' : 'not yet'}${yes(d.textGiven, ', text given')}`,
  'final-check': (d) =>
    `${d.passed ? 'final check passed' : `final check not passed: ${text(d.reason)}`}; ${joined([
      yes(d.functions, 'functions tried', 'functions not in order'),
      yes(d.picturesCompared, 'pictures compared', 'pictures not compared'),
      yes(d.clean, 'clean', 'not clean'),
      yes(d.oldPartsBagged, 'old parts bagged', 'old parts not bagged'),
      d.passed && text(d.reason) ? text(d.reason) : '',
    ])}`,
  contact: (d) =>
    d.notice
      ? 'a letter to the owner that it is ready was queued'
      : `${plain(d.about)} by ${plain(d.means)}: ${text(d.result)}${said(d.words, (words) => `, ${words}`)}`,
  'at-counter': (d) => `${text(d.collector)} is at the counter`,
  release: (d) =>
    `compared before the hand-over: ${joined([
      `tag ${text(d.tagNumber)}`,
      yes(d.watchMatches, 'serial fits', 'serial does not fit'),
      yes(d.picturesMatch, 'pictures fit', 'pictures do not fit'),
      `collector ${text(d.collector)}`,
      `slip ${plain(d.slip)}`,
      yes(text(d.identityProof) !== '', 'identity proved'),
      said(d.papers, () => 'papers of the heirs shown'),
      said(d.twinAnswer, (answer) => `twin: ${answer}`),
      list(d.looseReturned) ? `loose items given back: ${list(d.looseReturned)}` : '',
      yes(d.oldPartsReturned, 'old parts given back'),
      list(d.cautionsGiven) ? `cautions given: ${list(d.cautionsGiven)}` : '',
    ])}`,
  payment: (d) => `${text(d.how)} ${money(d.amount)}${said(d.words, (words) => `, ${words}`)}`,
  revocation: (d) =>
    `yes taken back by ${text(d.person)}${said(d.how, (how) => ` (${plain(how)})`)}${said(d.words, (words) => `: ${words}`)}`,
  'yes-confirmed': (d) => `yes to version ${text(d.version)} confirmed in writing${said(d.how, (how) => ` (${how})`)}`,
  goodwill: (d) => `goodwill${said(d.amount, (amount) => ` of ${amount} minor units`)}: ${text(d.reason)}`,
  comeback: (d) =>
    `came back${said(d.comebackOf, (earlier) => `, linked to ticket ${earlier}`)}: ${((d.lines ?? []) as Data[]).map((line) => `${line.covered ? 'covered' : 'not covered'}, ${text(line.because)} (cause: ${text(line.cause ?? d.cause)})`).join('; ')}`,
  promise: (d) => `promised for ${text(d.on)}${said(d.words, (words) => `: ${words}`)}`,
  incident: (d) =>
    `incident: ${text(d.what)}, last at ${text(d.lastPlace)} with ${text(d.lastHolder)}${said(d.reason, (reason) => `; ${reason}`)}`,
  'unclaimed-step': (d) =>
    `unclaimed: ${plain(d.step)}${said(d.days, (days) => ` for ${days} days`)}, ${text(d.words)}${said(d.proof, (proof) => `; proof: ${proof}`)}`,
  ended: (d) => `ended as ${plain(d.as)}${d.law ? ` under ${text(d.law)}` : ''}: ${text(d.words)}`,
  struck: (d) => `record struck: ${text(d.reason)}`,
}

const uses = ['daily', 'vibration', 'heat', 'cold', 'salt', 'chlorine', 'hotWater', 'magnets'] as const
const useWords = {
  daily: 'daily',
  vibration: 'vibration',
  heat: 'heat',
  cold: 'cold',
  salt: 'salt',
  chlorine: 'chlorine',
  hotWater: 'hot water',
  magnets: 'strong magnets',
}

/** What else stands in the story of a watch. */
const ofTheRest: Readonly<Record<string, (d: Data) => string>> = {
  letter: (d) =>
    d.became === 'sent'
      ? 'the letter that it is ready was handed to the mail'
      : d.became === 'delivered'
        ? 'the letter that it is ready was delivered'
        : 'the letter that it is ready came back',
  'comeback-cost': (d) =>
    `under its guarantee, on ticket ${text(d.ticket)}: ${text(d.what)} cost the house ${inWords({ amount: Number(d.amount), currency: text(d.currency) })} for the ${d.part ? 'part' : 'work'}, not billed`,
  custody: (d) => `${d.from === null ? 'came in' : `from ${text(d.from)}`} to ${text(d.to)}, held by ${text(d.holder)}`,
  'loose-item': (d) => `loose item in bag ${text(d.bag)}: ${text(d.words)}`,
  estimate: (d) =>
    `estimate version ${text(d.version)}: ${inWords({ amount: Number(d.total), currency: text(d.currency) })}, valid until ${text(d.validUntil) || 'no day'}; ${list(d.lines)}`,
  answer: (d) =>
    `${text(d.person)} says ${text(d.answer)} to "${text(d.line)}" (version ${text(d.version)}, ${plain(d.how)}, ${inWords({ amount: Number(d.total), currency: text(d.currency) })} in all)`,
  picture: (d) => `picture ${plain(d.view)}, ${plain(d.stage)}`,
  guarantee: (d) =>
    `guarantee begins: "${text(d.what)}", ${text(d.months)} ${Number(d.months) === 1 ? 'month' : 'months'}`,
  'guarantee-days': (d) =>
    `guarantee of "${text(d.what)}" (ticket ${text(d.ticket)}) lengthened by ${text(d.days)} ${Number(d.days) === 1 ? 'day' : 'days'} in the house`,
  fact: (d) =>
    `in the book: ${joined([
      `${plain(d.event)}${d.event === 'water-test' ? (d.passed ? ' passed' : ' failed') : ''}${said(d.sign, (sign) => ` ${plain(sign)}`)}${said(d.bar, (bar) => ` at ${bar} bar`)}`,
      said(d.condition, plain),
      said(d.bestBefore, (until) => `best before ${until}`),
      said(d.note, (note) => `"${note}"`),
    ])}${lot(d)} (${plain(d.source)})`,
  wear: (d) =>
    `how it is worn: ${
      joined([
        ...uses.map((use) =>
          d[use] === 'yes'
            ? useWords[use]
            : d[use] === 'no'
              ? use === 'daily'
                ? 'not daily'
                : `no ${useWords[use]}`
              : '',
        ),
        d.water === 'unknown' ? '' : `water ${plain(d.water)}`,
      ]) || 'nothing known'
    } (${plain(d.source)})`,
  note: (d) =>
    `watchmaker's note: ${plain(d.obligation)} after ${text(d.months)} ${Number(d.months) === 1 ? 'month' : 'months'}, ${text(d.reason)}`,
  hazard: (d) =>
    `hazard on file: ${plain(d.kind)}${said(d.note, (note) => `, ${note}`)}${said(d.confirmedBy, (by) => `, confirmed by ${by}`)}`,
  movement: (d) =>
    `movement: calibre ${text(d.calibre)}${said(d.serial, (serial) => `, serial ${serial}`)}${said(d.kind, (kind) => `, ${plain(kind)}`)}`,
  part: (d) =>
    `part fitted: ${text(d.what)}, ${text(d.pieces)} ${Number(d.pieces) === 1 ? 'piece' : 'pieces'}${lot(d)}${said(d.note, (note) => `; ${note}`)}`,
  edit: (d) => `watch on file changed: ${text(d.changes)}${said(d.reason, (reason) => ` (${reason})`)}`,
  ownership: (d) => `belongs to ${text(d.owner)}: ${text(d.how)}`,
}

const sentences = { ...ofRecords, ...ofTheRest }
export const recordKinds = Object.keys(ofRecords) as [string, ...string[]]
export const wordsFor = (kind: string, data: Data): string => sentences[kind]?.(data) ?? kind
