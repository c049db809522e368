import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import type { Day, PartialDay } from '../../src/domain/day.ts'
import type { DuePart, LetterPart, WentOut } from '../../src/domain/notices/types.ts'
import { languageOf, lastFourOf, withoutNumber } from '../../src/letters/contents.ts'
import { asHtml, asText } from '../../src/letters/layout.ts'
import { moneyIn } from '../../src/letters/texts/formats.ts'
import { texts } from '../../src/letters/texts/index.ts'
import { languages, type SpokenStanding } from '../../src/letters/texts/sentences.ts'
import { writeLetter } from '../../src/letters/write.ts'
import { contents, due, OTHER, WATCH } from './sample.ts'

const links = { answer: 'https://centre.example/your-watches/a', stop: 'https://centre.example/your-letters/b' }
const flat = (text: string) => text.replace(/\s+/g, ' ')
const textOf = (parts: readonly LetterPart[], more: Parameters<typeof contents>[1] = {}) =>
  flat(asText(writeLetter(contents(parts, more), links)))

const standings: SpokenStanding[] = ['coming-up', 'due', 'overdue', 'to-be-assessed']
const wentOuts: WentOut[] = ['none', 'one', 'more']
const rules: Record<DuePart['kind'], DuePart['rule'][]> = {
  'complete-service': [
    'maker',
    'quartz',
    'usual',
    'high-beat',
    'rarely-worn',
    'exposed',
    'note',
    'trouble',
    'unknown-base',
  ],
  'water-check': [
    'maker',
    'hard-use',
    'now-and-then',
    'frequency-unknown',
    'use-unknown',
    'opened-since-test',
    'not-resistant',
    'trouble',
    'unknown-base',
  ],
  'cell-change': ['maker', 'usual', 'best-before', 'consumption', 'leaking', 'spent', 'end-of-life', 'unknown-base'],
  seals: ['maker', 'water-use', 'unknown-base'],
}
const bases = ['own-record', 'paper', 'owner-word', 'sold', 'made', 'none'] as const

/** Every letter about one obligation that the types allow, in one language. */
function* everyLetter(language: (typeof languages)[number]) {
  for (const kind of Object.keys(rules) as DuePart['kind'][])
    for (const rule of rules[kind])
      for (const standing of standings)
        for (const wentOut of wentOuts)
          for (const baseFrom of bases) {
            const part = due({
              kind,
              rule,
              standing,
              wentOut,
              baseFrom,
              baseOn: baseFrom === 'none' ? null : ('2024-12-10' as Day),
              unsure: wentOut === 'one',
            })
            yield {
              part,
              letter: writeLetter(contents([part, { part: 'keep-dry', watchId: WATCH }], { language }), links),
            }
          }
}

/** Promises, threats and hurry in the five languages; none may stand in any letter or on any page. */
const forbidden =
  /waterproof|water-proof|wasserdicht|wasserfest|étanche(?!i)|imperm[eé][aá]|sumergible|à prova d|estanque\b|last chance|letzte chance|dernière chance|última oportunidad|última oportunidade|final notice|hurry|act now|only today|nur heute|guarantee that|undefined|null|NaN|\[object/i

describe.each(languages)('letters in %s', (language) => {
  test('say what they must, whatever the standing, the rule and the base, and nothing they must not', () => {
    const { letter, day } = texts[language]
    let count = 0
    for (const { part, letter: written } of everyLetter(language)) {
      const text = flat(asText(written))
      count++
      expect(text).not.toMatch(forbidden)
      expect(flat(asHtml(written))).not.toMatch(forbidden)
      // who writes; which watch, by its last four; the day; how to tell us, to stop, to reach us; whose judgement comes first
      for (const needed of [
        'Lindholm Watch Service',
        'Brackwater Tidal 38, small steel watch with a blue dial',
        letter.numberEnding('4417'),
        day('2026-12-10'),
        letter.telling.sold,
        letter.telling['done-elsewhere'],
        links.answer,
        links.stop,
        '+41 44 668 18 00',
        letter.deferring,
        letter.caution['keep-dry'],
      ])
        expect(text).toContain(flat(needed))
      // what was done last and when, or that there is no record
      if (part.baseFrom === 'none')
        expect(text).toMatch(
          part.kind === 'water-check' && part.rule !== 'unknown-base'
            ? /./
            : new RegExp(literal(flat(letter.noRecord[part.kind]))),
        )
      if (part.kind === 'cell-change') expect(text).toContain(flat(letter.caution['cell-and-children']))
      if (part.kind === 'water-check') expect(text).toContain(flat(letter.deferringWater))
      if (part.unsure) expect(text).toContain(flat(letter.unsure))
    }
    expect(count).toBeGreaterThan(1500)
  })

  test('sentences of one standing differ by how many letters went before', () => {
    const { due: words, event } = texts[language].letter
    for (const standing of ['coming-up', 'due', 'overdue'] as const)
      expect(new Set(wentOuts.map((wentOut) => words[standing][wentOut]({ the: 'x', day: 'y' }))).size).toBe(3)
    for (const rule of Object.keys(event) as (keyof typeof event)[])
      expect(new Set(wentOuts.map((wentOut) => event[rule][wentOut]({ when: null }))).size).toBe(3)
  })

  test('no sentence of another language has been left standing', () => {
    for (const other of languages) {
      if (other === language) continue
      const mine = JSON.stringify(stringsOf(texts[language]))
      for (const sentence of stringsOf(texts[other]))
        if (sentence.length > 25) expect(mine).not.toContain(JSON.stringify(sentence))
    }
  })

  test('days of every precision are said with their own words, the same in every zone', () => {
    const t = texts[language]
    expect(t.when('2022' as PartialDay)).toMatch(/2022$/)
    expect(t.when('2022-03' as PartialDay)).not.toMatch(/\b1\b|15/)
    expect(t.when('2022-03-15' as PartialDay)).toMatch(/15/)
    expect(t.when('2022-03-15' as PartialDay)).toContain(t.day('2022-03-15'))
    // luxon and others write the day of the reader's zone; ours is fixed
    const zone = process.env.TZ
    process.env.TZ = 'America/Los_Angeles'
    expect(t.day('2027-01-01')).toMatch(/2027/)
    process.env.TZ = 'Pacific/Kiritimati'
    expect(t.day('2027-12-31')).toMatch(/31.*2027/)
    process.env.TZ = zone ?? 'UTC'
  })
})

const literal = (text: string) => text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')

function stringsOf(value: unknown): string[] {
  if (typeof value === 'string') return [value]
  if (typeof value === 'object' && value !== null) return Object.values(value).flatMap(stringsOf)
  return []
}

test('French says 1er', () => {
  expect(texts.fr.day('2026-03-01')).toBe('1er mars 2026')
  expect(texts.fr.day('2026-03-11')).toBe('11 mars 2026')
})

test('the cell of the model: changed here, every two years though running, many times the price, half an hour', () => {
  const text = textOf([due()])
  expect(text).toContain('Its cell was last changed here on 10 December 2024.')
  expect(text).toContain('By our book, the change of the cell is due on 10 December 2026.')
  expect(text).toContain('even when the watch still runs')
  expect(text).toContain('As a guide it costs CHF 32.00 (until 31 March 2027) and takes about 30 minutes.')
  expect(text).toContain('Please come by, or send it in, by 10 December 2026.')
})

test('a base known to its month is said as a month, and one of which nothing is known as no record', () => {
  const service = due({ kind: 'complete-service', baseFrom: 'paper', baseOn: '2021-09-01' as Day, months: 60 })
  expect(textOf([service], { bases: { [`${WATCH}/complete-service`]: '2021-09' as PartialDay } })).toContain(
    'last serviced completely in September 2021.',
  )
  const unknown = due({
    kind: 'complete-service',
    rule: 'unknown-base',
    standing: 'to-be-assessed',
    baseFrom: 'none',
    baseOn: null,
    months: null,
  })
  expect(textOf([unknown])).toContain('We have no record of a complete service.')
  expect(textOf([unknown])).toContain('This is the only letter about it.')
})

test('one visit, one price: what is folded stands under what swallows it', () => {
  const service = due({ kind: 'complete-service', bundled: true })
  const text = textOf([
    service,
    due({ kind: 'cell-change', foldedUnder: 'complete-service', dueOn: '2026-11-30' as Day }),
    // a water check that the cell would swallow rides with the outermost
    due({ kind: 'water-check', foldedUnder: 'cell-change', dueOn: '2027-01-15' as Day }),
  ])
  expect(text).toContain(
    'The same visit covers change of the cell (30 November 2026) and water-resistance test (15 January 2027): one visit, one price.',
  )
  expect(text.match(/By our book/g)).toHaveLength(1)
})

test('radium: not opened, not slept beside, only where allowed; in all five languages', () => {
  const service = due({ watchId: OTHER, kind: 'complete-service' })
  expect(textOf([service])).toContain('Please do not open it and do not sleep beside it; ask us.')
  for (const language of languages)
    expect(textOf([service], { language })).toContain(flat(texts[language].letter.caution.radium))
})

test('a watch opened since its test: no water until tested, and no claim that it runs well', () => {
  const text = textOf(
    [
      due({
        kind: 'water-check',
        rule: 'opened-since-test',
        standing: 'due',
        baseOn: '2026-10-01' as Day,
        baseFrom: 'owner-word',
        months: null,
      }),
    ],
    {
      bases: { [`${WATCH}/water-check`]: '2026-10' as PartialDay },
    },
  )
  expect(text).toContain('It was opened in October 2026 and, as far as we know, not tested since')
  expect(text).toContain('Please no water until it has been tested.')
  expect(text).not.toContain('run perfectly')
})

test('the withdrawing sentence names both days, and a letter of nothing else asks for no visit', () => {
  const moved: LetterPart = {
    part: 'moved-later',
    watchId: WATCH,
    recordId: '',
    kind: 'complete-service',
    cycle: '',
    round: '2026-07-03' as Day,
    stage: 'moved/2028-09-01',
    toldDueOn: '2026-09-01' as Day,
    dueOn: '2028-09-01' as Day,
  }
  const letter = writeLetter(contents([moved]), links)
  const text = flat(asText(letter))
  expect(text).toContain('named 1 September 2026 for the complete service. That day has moved to 1 September 2028')
  expect([letter.subject, letter.calendar]).toEqual(['About your Brackwater Tidal 38', null])
  expect(text).not.toContain('Please come by')
})

test('without links a word is enough, and the letter says so', () => {
  const text = flat(asText(writeLetter(contents([due()]), { answer: null, stop: null })))
  expect(text).toContain('reply with a word and we stop')
  expect(text).not.toContain('http')
})

test('the full number never stands in a letter, even where the house typed it into the description', () => {
  expect(lastFourOf('BW-20 884 417')).toBe('4417')
  expect(lastFourOf('4417')).toBeNull()
  expect(lastFourOf(null)).toBeNull()
  expect(withoutNumber('steel, no. BW 20884417, blue', 'BW-20884417')).toBe('steel, no. …4417, blue')
  fc.assert(
    fc.property(
      fc.stringMatching(/^[A-Z]{0,3}[- ]?[0-9]{5,9}$/),
      fc.constantFrom('', ' ', '-', '.'),
      (serial, between) => {
        const typed = [...serial.replace(/[^A-Z0-9]/g, '')].join(between)
        const shown = withoutNumber(`a watch, number ${typed}, blue`, serial) ?? ''
        expect(shown.replace(/[^A-Z0-9]/g, '')).not.toContain(serial.replace(/[^A-Z0-9]/g, ''))
      },
    ),
  )
})

test('amounts by the minor units of ISO 4217, exactly, where Intl counts otherwise (HUF) too', () => {
  const plain = (text: string) => text.replace(/\s/g, ' ')
  expect(plain(moneyIn('en-GB', 3200, 'CHF'))).toBe('CHF 32.00')
  expect(plain(moneyIn('de-DE', 123_450, 'EUR'))).toBe('1.234,50 €')
  expect(plain(moneyIn('en-GB', 5000, 'JPY'))).toBe('JP¥5,000')
  expect(plain(moneyIn('en-GB', 1_234_567, 'HUF'))).toBe('HUF 12,345.67')
  expect(plain(moneyIn('en-GB', 12_345, 'KWD'))).toBe('KWD 12.345')
  expect(plain(moneyIn('en-GB', 7, 'EUR'))).toBe('€0.07')
})

test('a language of ours by its first part, else English', () => {
  expect(['de-CH', 'pt_BR', 'FR', 'it', ''].map(languageOf)).toEqual(['de', 'pt', 'fr', 'en', 'en'])
})

test('whatever the names, the HTML has no markup of theirs and the subject is one line', () => {
  fc.assert(
    fc.property(fc.string({ unit: 'grapheme' }), fc.string(), (name, model) => {
      const base = contents([due()])
      const watch = { ...base.watches[WATCH]!, model: `${model}<b>&"'\r\n`, maker: 'Brackwater' }
      const letter = writeLetter(
        { ...base, owner: { name: `${name}<script>`, formOfAddress: null }, watches: { [WATCH]: watch } },
        links,
      )
      expect(asHtml(letter)).not.toMatch(/<script|<b>/)
      expect(letter.subject).not.toMatch(/[\r\n]/)
    }),
  )
})
