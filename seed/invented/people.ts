import type { Day } from '../../src/domain/day.ts'
import type { NewContact } from '../../src/features/owners/contacts.ts'
import type { NewChoice } from '../../src/features/owners/owners.ts'
import type { Dice } from '../random.ts'

/**
 * Owners of our own invention. Names are put together from parts that are no names; mail addresses lie at the example
 * domains of RFC 2606; telephone numbers in the ranges that Ofcom keeps unallocated for drama (1,000 in each area).
 */
export type Language = 'en' | 'de' | 'fr' | 'es' | 'pt'
export const languages: readonly Language[] = ['en', 'de', 'fr', 'es', 'pt']

const given = {
  begin: 'Al Bri Cor Dav El Fen Gwi Hel Isa Jor Kel Lio Mar Nel Ori Per Ros Sel Tam Ur Vel Yri'.split(' '),
  end: 'a ane eth ic in is o on or ra tha wen wyn eline amar'.split(' '),
}

const family: Record<Language, { begin: string[]; end: string[] }> = {
  en: {
    begin: 'Quill Thistle Ember Fenni Harrow Loam Merri Nettle Otter Pepper Rush Sorrel Umber Vetch Wither'.split(' '),
    end: 'mere combe wold stow thwaite garth hollow brake ley shaw wick beck'.split(' '),
  },
  de: {
    begin: 'Ahorn Binsen Dohlen Eschen Farn Ginster Holder Krähen Linden Moos Nebel Quell Reiher Schlehen Weiher'.split(
      ' ',
    ),
    end: 'grund kamp hügel lohe rieder saal steig wieser winkel zell mühl grat'.split(' '),
  },
  fr: {
    begin: 'Aubé Bois Clair Dorne Font Haute Lierre Mousse Noir Plaine Ronce Val Verte Saule Tourne'.split(' '),
    end: 'lande mare quint rieux sauge vigne combe tour source gué prée haie'.split(' '),
  },
  es: {
    begin: 'Alba Cierzo Espiga Lumbre Niebla Oliva Romería Salvia Trigo Vega Zarza Junco Encina Arroyo Luna'.split(' '),
    end: 'monte llana sierra verde mar blanca honda vieja alta clara fría redonda'.split(' '),
  },
  pt: {
    begin: 'Areia Brisa Cedro Figueira Lagoa Maré Orval Ribeira Serra Vinha Pinhal Moinho Foz Neblina Urze'.split(' '),
    end: 'nova funda clara mosa dourada mansa velha serena rasa larga fria viva'.split(' '),
  },
}

const addressed: Record<Language, string[]> = {
  en: ['Ms', 'Mr', 'Mx'],
  de: ['Frau', 'Herr'],
  fr: ['Madame', 'Monsieur'],
  es: ['Sra.', 'Sr.'],
  pt: ['Sra.', 'Sr.'],
}

const streets: Record<Language, string[]> = {
  en: ['Lanternside', 'Saddle Rise', 'Copper Row', 'Orchard Steps'],
  de: ['Laternengasse', 'Am Krähensteig', 'Kupferzeile', 'Obstgartenweg'],
  fr: ['rue des Lanternes', 'montée du Saule', 'allée de Cuivre', 'chemin du Verger'],
  es: ['calle de los Faroles', 'cuesta del Junco', 'paseo del Cobre', 'camino del Huerto'],
  pt: ['rua dos Lampiões', 'ladeira do Junco', 'passeio do Cobre', 'caminho do Pomar'],
}
const towns: Record<Language, string[]> = {
  en: ['Hollowmere', 'Thistlecombe', 'Emberwold'],
  de: ['Dohlenhügel', 'Quellwinkel', 'Nebelsaal'],
  fr: ['Clairmare-les-Saules', 'Roncevigne', 'Hautecombelle'],
  es: ['Albahonda del Cierzo', 'Zarzallana', 'Encinalta'],
  pt: ['Lagoamansa', 'Serrafunda', 'Pinhalvelha'],
}

export type Person = { name: string; formOfAddress: string; language: Language; mailName: string }

const plain = (text: string) =>
  text
    .normalize('NFKD')
    .replace(/[^A-Za-z]/g, '')
    .toLowerCase()

export function person(dice: Dice, language: Language): Person {
  const first = dice.pick(given.begin) + dice.pick(given.end)
  const last = dice.pick(family[language].begin) + dice.pick(family[language].end)
  return {
    name: `${first} ${last}`,
    formOfAddress: dice.pick(addressed[language]),
    language,
    mailName: `${plain(first)}.${plain(last)}`,
  }
}

/** Half of the people of the centre write English; the rest share the other four languages. */
export const languageOf = (dice: Dice): Language =>
  dice.weighed([
    ['en', 50],
    ['de', 20],
    ['fr', 14],
    ['es', 9],
    ['pt', 7],
  ] as const)

const mailHosts = ['example.org', 'example.net', 'example.com']

/** The n-th person's own mail address: no two records of the centre share one by chance. */
export const mailOf = (someone: Person, n: number): NewContact => ({
  means: 'e-mail',
  value: `${someone.mailName}.${n}@${mailHosts[n % 3]}`,
})

const areas = ['1632 960', '20 7946 0', '161 496 0', '113 496 0', '117 496 0', '121 496 0', '131 496 0', '141 496 0']

/** The n-th telephone number, n from 0 to 7,999; every thousand lies in another area. */
export const phoneOf = (n: number): NewContact => ({
  means: 'phone',
  value: `+44 ${areas[Math.floor(n / 1000) % areas.length]}${String(n % 1000).padStart(3, '0')}`,
})

export const postOf = (dice: Dice, language: Language): NewContact => ({
  means: 'post',
  value: `${dice.pick(streets[language])} ${dice.whole(1, 140)}, ${dice.pick(towns[language])}`,
})

export const firmNames = [
  'Hollowmere Ferry Company',
  'Thistlecombe Bell Ringers',
  'Lanternside Tram Museum',
  'Emberwold Mountain Rescue',
  'Quellwinkel Ballonfahrten',
  'Roncevigne Orchestre',
  'Zarzallana Faros',
  'Lagoamansa Mergulho',
]

const kinds = ['complete-service', 'water-check', 'cell-change'] as const

/** What an owner said about being written to, on a form whose wording changed in 2022. */
export const choices = (
  choice: NewChoice['choice'],
  on: Day,
  about: readonly NewChoice['kind'][] = kinds,
): NewChoice[] =>
  about.map((kind) => ({
    kind,
    choice,
    on,
    means: 'form at the counter',
    wording: on < '2022-01-01' ? 'reminders-1' : 'reminders-2',
  }))
