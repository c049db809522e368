import { Refusal, type RefusalCode } from '../domain/refusals.ts'

/**
 * What a named constraint means to the person at the counter. Constraints that the schemas at the door already keep are
 * not named here: reaching one is a fault of ours, and answered as such.
 */
const meanings: Readonly<Record<string, { code: RefusalCode; facts?: Record<string, string> }>> = {
  contact_owner_id_fkey: { code: 'not-found', facts: { what: 'owner' } },
  notice_choice_owner_id_fkey: { code: 'not-found', facts: { what: 'owner' } },
  guidance_calibre_id_fkey: { code: 'not-found', facts: { what: 'calibre' } },
  movement_calibre_id_fkey: { code: 'not-found', facts: { what: 'calibre' } },
  movement_watch_id_fkey: { code: 'not-found', facts: { what: 'watch' } },
  ownership_owner_id_fkey: { code: 'not-found', facts: { what: 'owner' } },
  watch_owner_id_fkey: { code: 'not-found', facts: { what: 'owner' } },
  watch_event_watch_id_fkey: { code: 'not-found', facts: { what: 'watch' } },
  calibre_name_key: { code: 'calibre-known' },
  watch_maker_serial_key: { code: 'serial-known' },
  strike_pkey: { code: 'already-struck' },
  ticket_record_strikes_key: { code: 'already-struck' },
  tool_serial_key: { code: 'tool-known' },
  bench_name_key: { code: 'bench-known' },
  staff_skill_staff_key_id_fkey: { code: 'not-found', facts: { what: 'staff key' } },
  calibre_tolerance_calibre_id_fkey: { code: 'not-found', facts: { what: 'calibre' } },
  tool_certificate_tool_id_fkey: { code: 'not-found', facts: { what: 'tool' } },
  ticket_picture_once: { code: 'picture-refused', facts: { why: 'it is the picture of another ticket already' } },
}

export function refusalFor(violation: { constraint?: string }): Refusal | null {
  const meaning = violation.constraint === undefined ? undefined : meanings[violation.constraint]
  return meaning ? new Refusal(meaning.code, meaning.facts) : null
}
