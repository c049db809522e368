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
  ticket_watch_in_house: { code: 'watch-in-house', facts: { number: 'booked in a moment ago' } },
  tool_serial_key: { code: 'tool-known' },
  bench_name_key: { code: 'bench-known' },
  staff_skill_staff_key_id_fkey: { code: 'not-found', facts: { what: 'staff key' } },
  calibre_tolerance_calibre_id_fkey: { code: 'not-found', facts: { what: 'calibre' } },
  tool_certificate_tool_id_fkey: { code: 'not-found', facts: { what: 'tool' } },
  ticket_picture_once: { code: 'picture-refused', facts: { why: 'it is the picture of another ticket already' } },
  stock_entry_struck_once: { code: 'already-struck' },
  stock_entry_not_before_receipt: { code: 'entry-before-receipt' },
  stock_lot_shelf_not_below_zero: { code: 'stock-below-zero' },
  stock_lot_bench_not_below_zero: { code: 'stock-below-zero' },
  stock_entry_watch_id_fkey: { code: 'not-found', facts: { what: 'watch' } },
  reservation_watch_id_fkey: { code: 'not-found', facts: { what: 'watch' } },
  stock_item_name_key: { code: 'item-known', facts: { name: 'This name' } },
  item_number_pkey: { code: 'item-known', facts: { name: 'This item number' } },
  date_code_table_pkey: { code: 'item-known', facts: { name: 'This table' } },
  substitute_once: { code: 'item-known', facts: { name: 'This substitute' } },
  substitute_place_key: { code: 'item-known', facts: { name: 'This substitute' } },
  waste_box_label_key: { code: 'item-known', facts: { name: 'This label' } },
  waste_box_open: { code: 'waste-box-open', facts: { contents: 'this', label: 'before it' } },
}

export function refusalFor(violation: { constraint?: string }): Refusal | null {
  const meaning = violation.constraint === undefined ? undefined : meanings[violation.constraint]
  return meaning ? new Refusal(meaning.code, meaning.facts) : null
}
