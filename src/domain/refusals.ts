/**
 * Every way the service says no. A code is stable and part of the API (`type` of the problem); the sentence says what
 * to do. Adding one: a line here and its status in http/problem-statuses.ts, which does not compile without it.
 */
type Facts = Readonly<Record<string, string | number | boolean | null | undefined | readonly string[]>> & {
  // members of RFC 9457 itself: a fact of that name would be written over
  readonly [name in 'type' | 'title' | 'status' | 'detail' | 'instance' | 'errors']?: never
}

const sentences = {
  // the request itself
  'faulty-input': () =>
    'Some parts of the request are missing or wrong. Mend those listed under errors and send it again; nothing was written.',
  'not-json': () => 'The body could not be read as JSON. Send it as application/json in UTF-8.',
  'not-found': (f: Facts) =>
    f.what ? `There is no ${f.what} ${f.id ?? ''} here. Check the id.` : 'There is nothing at this address.',
  'method-not-allowed': (f: Facts) => `This address answers ${f.allowed}.`,
  'unsupported-media-type': (f: Facts) => `Send the body as ${f.accepted ?? 'application/json'}.`,
  'not-acceptable': (f: Facts) => `This address answers as ${f.offered}.`,
  'body-too-large': (f: Facts) =>
    f.most === undefined
      ? 'The body is too large for this address.'
      : `This is too large: at most ${f.most}. Send it smaller.`,
  'too-many-requests': (f: Facts) => `Too many requests; try again in ${f.seconds} seconds.`,
  'service-busy': () => 'The service is too busy or cannot reach its database; try again in a few seconds.',
  'internal-fault': () => 'The service made a mistake. Nothing of this request was written; report the request id.',

  // who asks
  'key-missing': () => 'Send your staff key as "Authorization: Bearer …".',
  'key-refused': () => 'This staff key is not known, has expired or was revoked. Ask the manager for a new one.',
  'role-refused': (f: Facts) =>
    `This needs the role ${(f.roles as string[]).join(' or ')}; your key has the role ${f.role}.`,

  // idempotency and editing
  'idempotency-key-missing': () =>
    'Send an Idempotency-Key header, a quoted string of your choosing for this one act, such as "8e03978e-40d5".',
  'idempotency-key-malformed': () =>
    'The Idempotency-Key must be a quoted string of 1 to 200 visible ASCII characters, such as "8e03978e-40d5".',
  'idempotency-key-reused': () =>
    'This Idempotency-Key was used before with another body. Take a new key for a new act.',
  'idempotency-key-in-flight': () =>
    'The first request with this Idempotency-Key is still being worked on; ask again in a moment.',
  'if-match-missing': () => 'Send If-Match with the ETag you last read, so that nobody’s change is overwritten unseen.',
  'if-match-failed': () =>
    'It was changed since you read it. Read it again, then decide whether your change still fits.',
  'cursor-refused': () => 'This page cursor does not belong to this list and these filters. Begin again without it.',

  // tasks and nightly runs
  'task-done': (f: Facts) => `This task was closed before, by ${f.by}.`,
  'nightly-not-due': (f: Facts) =>
    f.running
      ? 'A nightly run is under way; look at GET /v1/nightly-runs for its progress.'
      : `No nightly run is due: the one of ${f.last} is on file. The next comes with its date.`,
  'rehearsal-too-long': (f: Facts) =>
    `This rehearsal would take longer than it may (${f.minutes} minutes, two of them for one question to the database). Ask for fewer weeks, or at a quieter hour.`,
  'night-waits': (f: Facts) =>
    `Dates are still being reckoned anew by a changed rule (${f.done} of ${f.total ?? 'not yet counted'} watches); letters wait for that. Look at GET /v1/re-reckonings and ask again when it is finished.`,

  // the book
  'owner-merged': (f: Facts) => `This record was merged; use owner ${f.into}.`,
  'erasure-postponed': (f: Facts) =>
    `This person already asked to be forgotten; it waits${(f.because as string[]).length > 0 ? `, because ${(f.because as string[]).join('; ')}` : ''}, and is done by itself after that.`,
  'owner-erased': () => 'The personal data of this owner was erased.',
  'merge-impossible': (f: Facts) => `These two records cannot be merged: ${f.why}.`,
  'likely-double': (f: Facts) =>
    `This looks like ${f.what} already on file: ${(f.words as string[]).join('; ')}. Use that record, by its id under candidates, in the same order; or send ${f.anyway}${f.part === undefined ? '' : ` under "${f.part}"`}.`,
  'serial-known': (f: Facts) =>
    `A watch of this maker with this serial is on file${f.id ? ` (${f.id})` : ''}. Use it, or set knownDuplicate on both.`,
  'calibre-known': () => 'A calibre of this name is on file. Use it, or choose another name.',
  'already-struck': () => 'This fact was struck before.',
  'fact-in-future': (f: Facts) => `${f.what ?? 'This'} cannot lie in the future at the counter; today is ${f.today}.`,
  'rule-in-past': (f: Facts) =>
    `A house rule is changed from a day on that has not passed; the earliest is ${f.earliest}.`,

  // tickets
  'ticket-number-wrong': (f: Facts) =>
    `${f.typed ?? 'This'} is not a ticket number: a digit is wrong or two are swapped. Read it from the tag again.`,
  'watch-in-house': (f: Facts) => `This watch is in the house already, under ticket ${f.number}. Use that ticket.`,
  'watch-of-another': (f: Facts) =>
    `This watch belongs to another owner on file (${f.owner}). Book it in under that owner, or record first that it was sold on.`,
  'owner-not-served': () => 'This owner is marked "do not serve". Ask the manager.',
  'no-such-move': (f: Facts) =>
    `A ticket does not go from ${f.from} to ${f.to}. From ${f.from} it may go to: ${(f.possible as string[]).join(', ')}.`,
  'move-needs-reason': () => 'This move goes back or aside: say why, in "reason".',
  'gate-shut': (f: Facts) =>
    `Gate ${f.gate} (${f.gateTitle}) is shut: ${f.why}. To open it: ${(f.opens as string[]).join('; ') || 'see the gates of the ticket'}.${(f.alsoShut as string[] | undefined)?.length ? ` Shut, too: ${(f.alsoShut as string[]).join(' ')}` : ''}`,
  'ticket-ended': (f: Facts) =>
    `This ticket has ended (${f.ended}). A watch that comes back gets a new ticket linked to it.`,
  'ticket-frozen': (f: Facts) =>
    `This ticket is ${f.side}: nothing moves but its place and the incident, until the manager takes it out of that state.`,
  'record-not-taken': (f: Facts) =>
    `At the step ${f.step} ${f.what} is not recorded. ${f.cure ?? 'Move the ticket first.'}`,
  'case-not-open': () => 'The case is not open: record the opening first.',
  'case-not-to-close': () => 'The case is not open, so it cannot be closed.',
  'claim-under-test': (f: Facts) =>
    `The case of this watch was opened on ticket ${f.number} and has not passed its test: only a manager makes less of its water claim, and says why in "reason".`,
  'override-refused': (f: Facts) => `This cannot be overridden: ${f.why}.`,
  'not-entitled': (f: Facts) =>
    `${f.person} is not on the list of those who may ${f.what} for this ticket. ${(f.entitled as string[]).length > 0 ? `On it: ${(f.entitled as string[]).join(', ')}. Ask one of them, or add the name on the word of somebody who may approve (POST …/people).` : 'Nobody is, for the owner has died: the manager adds the heirs by their papers (POST …/people).'} Nothing was written.`,
  'version-not-newest': (f: Facts) =>
    `Version ${f.version} is not the newest; show the owner version ${f.newest} and ask again.`,
  'setting-missing': (f: Facts) =>
    `The centre has not set "${f.setting}". Stop and ask: the manager sets it before this goes on.`,
  'custody-broken': (f: Facts) => `The watch is at ${f.place} with ${f.holder}, so it cannot be moved from ${f.from}.`,
  'picture-refused': (f: Facts) => `This file is not taken as a picture: ${f.why}.`,
  'tool-known': () => 'A tool of this kind and serial is on file. Use it.',
  'bench-known': () => 'A bench of this name is on file. Choose another name.',
  'above-agreed': (f: Facts) =>
    `This would come to more than was agreed (${f.agreed}). Make a new version of the estimate and ask for a new yes.`,
  'side-state-refused': (f: Facts) => `${f.why}`,
  // letters
  'notice-moved-on': (f: Facts) => `This letter is ${f.state}; that is possible only while it is ${f.allowed}.`,
  'guide-price-in-past': (f: Facts) =>
    `A guide price is set from a day on that has not passed; the earliest is ${f.earliest}.`,
  'manager-key-last': () => 'This is the last manager key in force. Make another one first.',

  // the stock
  'item-known': (f: Facts) => `${f.name} is on file. Use it, or choose another name.`,
  'substitute-impossible': (f: Facts) => `This cannot stand in for it: ${f.why}.`,
  'mercury-not-fitted': () => 'Mercury cells are not fitted any more; spent ones go into the mercury box of the waste.',
  'place-taken': (f: Facts) =>
    `The place ${f.place} holds another lot (${f.name}). Two lots never share a compartment; choose a free place.`,
  'stock-short': (f: Facts) =>
    `There is no lot of ${f.name} with ${f.wanted} pieces to give: the fullest usable lot has ${f.mostInOneLot}, ${f.reserved} are reserved, ${f.blocked} blocked, ${f.tooOld} too old. Nothing was moved.`,
  'stock-below-zero': (f: Facts) =>
    f.there === undefined
      ? 'With this entry there would be less than nothing on some day. Check pieces and day; nothing was moved.'
      : `There are only ${f.there} pieces ${f.place}. Nothing was moved; count, or mend the number.`,
  'entry-before-receipt': (f: Facts) =>
    `This lies before the lot was received${f.receivedOn ? ` (${f.receivedOn})` : ''}. Mend the day.`,
  'lot-blocked': (f: Facts) => `This lot is blocked (${f.because}). Bring its pieces back and take another lot.`,
  'lot-not-blocked': () => 'This lot is not blocked in a way that this would end.',
  'blocked-by-recall': () =>
    'This lot was called back: it stays in quarantine, also once the recall is closed. Send its pieces back to the supplier.',
  'lot-not-to-be-fitted': (f: Facts) =>
    `This cell would not live long enough (best before ${f.bestBefore}). Bring it back and take another lot.`,
  'short-life-unsigned': (f: Facts) =>
    `Only a short-life cell is left (best before ${f.bestBefore}, next change ${f.nextChangeOn}). Tell the owner; then the manager asks again with "shortLife".`,
  'designation-does-not-fit': (f: Facts) =>
    `${f.wanted} does not fit this watch, which takes ${f.fits}. A watchmaker can approve a substitute.`,
  'never-a-primary-cell': () => 'This watch has a rechargeable cell; an ordinary cell must never be fitted.',
  'takes-no-cell': () => 'This watch takes no cell.',
  'reservation-ended': (f: Facts) => `This reservation was ${f.state} before.`,
  'strike-the-fitting': () =>
    'These pieces are recorded as fitted in a watch. Strike the fitting itself (POST /v1/fittings/…/strike), so that the watch’s dates are mended too.',
  'gasket-not-fitted-new': (f: Facts) =>
    `Gaskets of ${f.material} are not fitted new; choose what the maker names today.`,
  'gasket-past-storage-life': (f: Facts) =>
    `This gasket's storage life ended on ${f.storageEnd}. It is not fitted; nobody can override that. Inspect the lot if it was not extended yet.`,
  'part-past-its-use': (f: Facts) => `This lot was to be used by ${f.useBy}. Bring it back and take another lot.`,
  'gasket-not-extended': (f: Facts) => `This lot is not extended: ${f.why}.`,
  'gasket-needs-inspection': () => 'A gasket lot is set free only by a recorded inspection (POST …/inspections).',
  'waste-box-open': (f: Facts) => `The box ${f.label} for ${f.contents} is still open. Fill it and hand it over first.`,
  'waste-box-missing': (f: Facts) =>
    `No box for ${f.contents} is open. Open one (POST /v1/waste-boxes); nothing was moved.`,
  'waste-box-collected': () => 'This box was collected before.',
  'recall-not-settled': (f: Facts) =>
    `${f.open} watches of this recall are not settled yet, and ${f.shelf} pieces lie on the shelf or at a bench.`,
  'recall-closed': () => 'This recall is closed.',
  'recall-watch-settled': () => 'This watch of the recall is settled: the piece has come out of it.',
  'recall-owner-unknown': () =>
    'The owner of this watch is not known: book it in at the counter with whoever brings it, then settle it in the recall.',
  'order-ended': (f: Facts) => `This order was ${f.state} before.`,
} as const

export type RefusalCode = keyof typeof sentences
export type Fault = { pointer?: string; parameter?: string; header?: string; detail: string }

/** A refusal with its facts (extension members of the problem) and, for faulty input, an entry for each fault. */
export class Refusal extends Error {
  readonly code: RefusalCode
  readonly facts: Facts
  readonly faults: readonly Fault[]

  constructor(code: RefusalCode, facts: Facts = {}, faults: readonly Fault[] = []) {
    super((sentences[code] as (facts: Facts) => string)(facts))
    this.code = code
    this.facts = facts
    this.faults = faults
  }
}

export const refusalCodes = Object.keys(sentences) as RefusalCode[]

/** Faulty input as one refusal: `faulty(['/months', 'must be …'], …)`, pointers by RFC 6901. */
export const faulty = (...faults: readonly (readonly [pointer: string, detail: string])[]): Refusal =>
  new Refusal(
    'faulty-input',
    {},
    faults.map(([pointer, detail]) => ({ pointer, detail })),
  )
