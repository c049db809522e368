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

/** Whether two words differ by at most `most` letters put in, left out or taken for another. */
function withinEdits(a: string, b: string, most: number): boolean {
  if (Math.abs(a.length - b.length) > most) return false
  let above = Array.from({ length: b.length + 1 }, (_, i) => i)
  for (let i = 1; i <= a.length; i++) {
    const row = [i]
    for (let j = 1; j <= b.length; j++)
      row.push(Math.min(above[j]! + 1, row[j - 1]! + 1, above[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1)))
    above = row
  }
  return above[b.length]! <= most
}

const wordsAlike = (a: string, b: string): boolean => {
  if (a === b) return true
  // what has a digit is no name that somebody misheard, nor an initial
  if (/\p{N}/u.test(a + b)) return false
  if (a.length === 1 || b.length === 1) return a[0] === b[0]
  const short = Math.min(a.length, b.length)
  return short >= 4 && withinEdits(a, b, short >= 8 ? 2 : 1)
}

/**
 * Whether two names, as `nameKey` writes them, may be one name heard or typed a little differently: in another order, with
 * an initial for a word or one more, with a letter or two amiss. One word alone names nobody.
 */
export function namesAlike(a: string, b: string): boolean {
  const [fewer, more] = [a.split(' '), b.split(' ')].sort((x, y) => x.length - y.length) as [string[], string[]]
  if (fewer.length < 2 || more.length > 8) return false
  const left = [...more]
  // the longest words first, so that an initial takes what is left
  for (const word of [...fewer].sort((x, y) => y.length - x.length)) {
    const exact = left.indexOf(word)
    const at = exact >= 0 ? exact : left.findIndex((other) => wordsAlike(word, other))
    if (at < 0) return false
    left.splice(at, 1)
  }
  return left.every((word) => /^\p{L}$/u.test(word))
}
