/**
 * The number of a ticket, read aloud at the counter and written on the tag: at most nine digits and one check character
 * by ISO/IEC 7064, MOD 11-2 (0–9 or X). The weights are the powers of 2 modulo 11, which are all different over ten
 * places, so every single wrong character and every swap of two, next to each other or not, is refused.
 */
/** The check character of a string of digits. */
export function checkCharacter(digits: string): string {
  let p = 0
  for (const digit of digits) p = ((p + Number(digit)) * 2) % 11
  const check = (12 - p) % 11
  return check === 10 ? 'X' : String(check)
}

/** The number that people read for the nth ticket: `1` → `1` and its check character. */
export function ticketNumber(serial: number): string {
  const digits = String(serial)
  return digits + checkCharacter(digits)
}

const shape = /^(\d{1,9})([0-9X])$/

/**
 * What somebody typed, as a ticket number without spaces and dashes, in capitals and without leading zeros; null where it
 * is not one or its check character is wrong.
 */
export function readTicketNumber(typed: string): string | null {
  if (typed.length > 40) return null
  const parts = shape.exec(typed.replace(/[\s\-‐-―]/g, '').toUpperCase())
  if (!parts?.[1] || !parts[2]) return null
  if (checkCharacter(parts[1]) !== parts[2]) return null
  const digits = parts[1].replace(/^0+(?=\d)/, '')
  return digits + parts[2]
}
