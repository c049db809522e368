import type { Day } from '../../src/domain/day.ts'

/**
 * Watches that are in the house, or were, on the demo's day: one ticket for each state a ticket can be found in. People and
 * watches are invented and are in no other part of the book.
 */
export type Visit = {
  owner: {
    name: string
    language: 'en' | 'de' | 'fr' | 'es' | 'pt'
    contact: { means: 'e-mail' | 'phone'; value: string }
  }
  watch: { maker: string; model: string; serial: string; description: string; dial: string }
  complaint: string
  /** how far it has come */
  until: Until
  days: { booked: Day; bench?: Day; ready?: Day }
}

export const untils = [
  'booked in',
  'priced',
  'waiting for the owner',
  'at the bench',
  'opened again after its test',
  'under observation',
  'ready',
  'handed over with its guarantee',
  'back again under guarantee',
  'not fetched',
] as const
export type Until = (typeof untils)[number]

const mail = (value: string) => ({ means: 'e-mail' as const, value })
const watch = (maker: string, model: string, serial: string, dial: string, description: string) => ({
  maker,
  model,
  serial,
  dial,
  description,
})
const day = (text: string) => text as Day

export const visits: readonly Visit[] = [
  {
    owner: { name: 'Ottilie Farnsteig', language: 'de', contact: mail('ottilie.farnsteig@example.org') },
    watch: watch('Tarnwick', 'Causeway', 'TW 40 118', 'cream', 'small gold-coloured watch with a cream dial'),
    complaint: 'It loses two minutes a week since the summer.',
    until: 'booked in',
    days: { booked: day('2026-11-25') },
  },
  {
    owner: { name: 'Perran Nettleshaw', language: 'en', contact: mail('perran.nettleshaw@example.net') },
    watch: watch('Osprey Lane', 'Ferryman', 'OL 7731', 'blue', 'steel watch with a blue dial'),
    complaint: 'Stopped on Sunday; the second hand jumped before.',
    until: 'priced',
    days: { booked: day('2026-11-23') },
  },
  {
    owner: { name: 'Lumen Clairgué', language: 'fr', contact: mail('lumen.clairgue@example.org') },
    watch: watch('Tarnwick', 'Weir', 'TW 52 904', 'black', 'black diver’s watch on a rubber strap'),
    complaint: 'Fog under the glass after the lake.',
    until: 'waiting for the owner',
    days: { booked: day('2026-11-19') },
  },
  {
    owner: { name: 'Selwen Umbergarth', language: 'en', contact: mail('selwen.umbergarth@example.com') },
    watch: watch('Hallam Reach', 'Lock', 'HR 2290', 'green', 'steel watch with a green dial'),
    complaint: 'Needs a cell, please do not polish.',
    until: 'at the bench',
    days: { booked: day('2026-11-20'), bench: day('2026-11-24') },
  },
  {
    owner: { name: 'Iria Vegablanca', language: 'es', contact: mail('iria.vegablanca@example.net') },
    watch: watch('Osprey Lane', 'Breakwater', 'OL 8812', 'grey', 'titanium watch with a grey dial'),
    complaint: 'New cell; it goes swimming every week.',
    until: 'opened again after its test',
    days: { booked: day('2026-11-18'), bench: day('2026-11-23') },
  },
  {
    owner: { name: 'Duarte Marésera', language: 'pt', contact: mail('duarte.maresera@example.org') },
    watch: watch('Hallam Reach', 'Sluice', 'HR 3105', 'white', 'thin steel watch with a white dial'),
    complaint: 'Eats a cell every eight months.',
    until: 'under observation',
    days: { booked: day('2026-11-16'), bench: day('2026-11-24') },
  },
  {
    owner: { name: 'Merrin Sorrelwick', language: 'en', contact: mail('merrin.sorrelwick@example.org') },
    watch: watch('Tarnwick', 'Mooring', 'TW 61 377', 'silver', 'steel watch with a silver dial'),
    complaint: 'Cell, and the case back is loose.',
    until: 'ready',
    days: { booked: day('2026-11-17'), bench: day('2026-11-23'), ready: day('2026-11-24') },
  },
  {
    owner: { name: 'Hadrio Quellmühl', language: 'de', contact: mail('hadrio.quellmuehl@example.com') },
    watch: watch('Osprey Lane', 'Jetty', 'OL 9020', 'brown', 'steel watch with a brown dial'),
    complaint: 'Stands still in the mornings.',
    until: 'handed over with its guarantee',
    days: { booked: day('2026-11-02'), bench: day('2026-11-04'), ready: day('2026-11-05') },
  },
  {
    owner: { name: 'Yrian Peppercombe', language: 'en', contact: mail('yrian.peppercombe@example.net') },
    watch: watch('Hallam Reach', 'Cutter', 'HR 4471', 'red', 'steel watch with a red dial'),
    complaint: 'Stopped.',
    until: 'back again under guarantee',
    days: { booked: day('2026-09-07'), bench: day('2026-09-09'), ready: day('2026-09-10') },
  },
  {
    owner: {
      name: 'Tamsor Loambeck',
      language: 'en',
      contact: { means: 'phone', value: '+44 151 496 0123' },
    },
    watch: watch('Tarnwick', 'Ford', 'TW 33 560', 'yellow', 'gold-coloured watch with a yellow dial'),
    complaint: 'Does not run; found in a drawer.',
    until: 'not fetched',
    days: { booked: day('2026-08-17'), bench: day('2026-08-19'), ready: day('2026-08-24') },
  },
]

/** The day on which the one that came back came back. */
export const cameBackOn = day('2026-11-20')
