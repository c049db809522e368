/** Keys under which people and watches are found again, however they were written down. */

/** Names without case and diacritical marks, words parted by one space. */
export function nameKey(name: string): string {
  return name
    .normalize('NFKD')
    .replace(/\p{M}/gu, '')
    .toLowerCase()
    .replace(/ß/g, 'ss')
    .replace(/[^\p{L}\p{N}]+/gu, ' ')
    .trim()
}

/** Serials without spaces and dashes, with O read as 0 and I as 1; null where nothing is left. */
export function serialKey(serial: string): string | null {
  const key = serial
    .normalize('NFKC')
    .toUpperCase()
    .replace(/[^\p{L}\p{N}]/gu, '')
    .replaceAll('O', '0')
    .replaceAll('I', '1')
  return key === '' ? null : key
}

/** Digits of a telephone number as typed. */
export const digitsOf = (text: string): string => text.replace(/\D/g, '')
