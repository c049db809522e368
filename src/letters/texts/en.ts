import { byPrecision, counted, dayFormats, spanIn } from './formats.ts'
import type { Texts } from './sentences.ts'

const locale = 'en-GB'
const days = dayFormats(locale)
const units = { minutes: 'minute', days: 'day', weeks: 'week' } as const

export const en: Texts = {
  locale,
  day: days.full,
  when: (day) =>
    byPrecision(day, { year: (y) => `in ${y}`, month: (m) => `in ${days.month(m)}`, day: (d) => `on ${days.full(d)}` }),
  span: (months) => spanIn(locale, months),
  takes: (from, to, unit) =>
    from === to ? counted(locale, units[unit], to) : `${from} to ${counted(locale, units[unit], to)}`,

  letter: {
    subjectOne: ({ what, watch }) => `Your ${watch}: ${what}`,
    subjectSeveral: (count) => `About your ${count} watches`,
    subjectAbout: (watch) => `About your ${watch}`,
    greeting: (name) => `Dear ${name},`,
    writer: ({ centre, count }) =>
      count === 1
        ? `This is ${centre}, writing about a watch of yours.`
        : `This is ${centre}, writing about ${count} watches of yours.`,
    numberEnding: (digits) => `number ending ${digits}`,

    the: {
      'complete-service': 'the complete service',
      'water-check': 'the water-resistance test',
      'cell-change': 'the change of the cell',
      seals: 'the replacement of the seals',
    },
    forThe: {
      'complete-service': 'the complete service',
      'water-check': 'the water-resistance test',
      'cell-change': 'the change of the cell',
      seals: 'the replacement of the seals',
    },
    what: {
      'complete-service': 'complete service',
      'water-check': 'water-resistance test',
      'cell-change': 'change of the cell',
      seals: 'new seals',
    },

    lastDone: {
      'own-record': {
        'complete-service': (when) => `We last serviced it completely ${when}.`,
        'water-check': (when) => `Its water resistance was last tested here ${when}.`,
        'cell-change': (when) => `Its cell was last changed here ${when}.`,
        seals: (when) => `Its seals were last replaced here ${when}.`,
      },
      paper: {
        'complete-service': (when) => `By a paper we have seen, it was last serviced completely ${when}.`,
        'water-check': (when) => `By a paper we have seen, its water resistance was last tested ${when}.`,
        'cell-change': (when) => `By a paper we have seen, its cell was last changed ${when}.`,
        seals: (when) => `By a paper we have seen, its seals were last replaced ${when}.`,
      },
      'owner-word': {
        'complete-service': (when) => `As we were told, it was last serviced completely ${when}.`,
        'water-check': (when) => `As we were told, its water resistance was last tested ${when}.`,
        'cell-change': (when) => `As we were told, its cell was last changed ${when}.`,
        seals: (when) => `As we were told, its seals were last replaced ${when}.`,
      },
    },
    noRecord: {
      'complete-service': 'We have no record of a complete service.',
      'water-check': 'We have no record of a water-resistance test.',
      'cell-change': 'We have no record of when its cell was last changed.',
      seals: 'We have no record of when its seals were last replaced.',
    },
    soldNew: (when) => `As far as we know, it was sold new ${when}.`,
    madeThen: (when) => `As far as we know, it was made ${when}.`,

    due: {
      'coming-up': {
        none: ({ the, day }) => `By our book, ${the} is due on ${day}.`,
        one: ({ the, day }) => `We wrote to you about this before: ${the} is due on ${day}.`,
        more: ({ the, day }) => `You have had letters from us about this; to keep it short, ${the} is due on ${day}.`,
      },
      due: {
        none: ({ the, day }) => `By our book, ${the} is due; the day is ${day}.`,
        one: ({ the, day }) => `We wrote to you about this before: ${the} is due now; the day is ${day}.`,
        more: ({ the, day }) =>
          `You have had letters from us about this; to keep it short, ${the} is due; the day is ${day}.`,
      },
      overdue: {
        none: ({ the, day }) => `By our book, ${the} was due on ${day}.`,
        one: ({ the, day }) =>
          `We wrote to you about this before: ${the} was due on ${day}, and in our book it is still open.`,
        more: ({ the, day }) =>
          `You have had letters from us about this: ${the} was due on ${day}, and in our book it is still open. We do not want to press you; the entry stays in our book and you are welcome whenever it suits you.`,
      },
      'to-be-assessed': {
        none: ({ the }) =>
          `We know too little of its history to reckon when ${the} is due, so we should like to look at it once. This is the only letter about it.`,
        one: ({ the }) =>
          `We still know too little of its history to reckon when ${the} is due. A word from you, or a short look at the watch, settles it.`,
        more: ({ the }) =>
          `We still know too little of its history to reckon when ${the} is due. A word from you, or a short look at the watch, settles it.`,
      },
    },
    interval: {
      maker: (span) => `The maker's guidance for this watch is ${span}.`,
      note: (span) => `When it was last here, our watchmaker noted that this watch should come back after ${span}.`,
      quartz: (span) => `For a quartz watch the usual time between services is ${span}.`,
      'high-beat': (span) =>
        `Its movement beats fast, and for such a movement the usual time between services is ${span}.`,
      'rarely-worn': (span) =>
        `Since you wear it only now and then, away from shocks, heat and cold, we reckon with ${span}.`,
      exposed: (span) => `Since it is exposed to shocks, heat or cold, we reckon with ${span}.`,
      usual: (span) => `The usual time is ${span}.`,
      'hard-use': (span) => `Since it is often in water, or in salt, chlorine or hot water, we reckon with ${span}.`,
      'now-and-then': (span) => `Since it is in water now and then, we reckon with ${span}.`,
      'frequency-unknown': (span) => `Since it is used in water and we do not know how often, we reckon with ${span}.`,
      'use-unknown': (span) =>
        `We do not know whether it is ever in water, and reckon with ${span}; if it never is, tell us.`,
      'water-use': (span) => `For a watch used in water we reckon with ${span}.`,
      'best-before': () => 'The cell inside carries a last day of its own from its maker, and that day comes first.',
      consumption: () => 'By the current we measured, the cell inside will not last longer than that.',
    },
    event: {
      trouble: {
        none: ({ when }) =>
          `Something is not right with it, as noted in our book${when ? ` ${when}` : ''}; it should be looked at.`,
        one: () => 'We wrote to you about a sign of trouble with it; in our book it is still open.',
        more: () =>
          'You have had letters from us about a sign of trouble with it; in our book it is still open, and you are welcome whenever it suits you.',
      },
      'opened-since-test': {
        none: ({ when }) =>
          `It was opened${when ? ` ${when}` : ''} and, as far as we know, not tested since; so nobody can say whether it still keeps water out.`,
        one: () =>
          'We wrote to you that it was opened and, as far as we know, not tested since; in our book this is still open.',
        more: () =>
          'You have had letters from us because it was opened and, as far as we know, not tested since; you are welcome whenever it suits you.',
      },
      'not-resistant': {
        none: ({ when }) =>
          `When last tested or looked at${when ? ` (${when})` : ''} it was not water-resistant, and by our book it is used in water.`,
        one: () => 'We wrote to you that it is not water-resistant at present; in our book this is still open.',
        more: () =>
          'You have had letters from us because it is not water-resistant at present; you are welcome whenever it suits you.',
      },
      leaking: {
        none: () =>
          'By what we were told or saw, the cell inside is leaking. Please bring the watch in soon: what runs out of a cell spoils the movement.',
        one: () =>
          'We wrote to you about the leaking cell; in our book it is still inside. What runs out of a cell spoils the movement.',
        more: () =>
          'You have had letters from us about the leaking cell; in our book it is still inside. You are welcome without an appointment.',
      },
      spent: {
        none: () =>
          'By what we were told, the watch has stopped because its cell is spent. Please have the cell taken out or changed soon.',
        one: () => 'We wrote to you about the spent cell; in our book it is still inside.',
        more: () =>
          'You have had letters from us about the spent cell; in our book it is still inside. You are welcome without an appointment.',
      },
      'end-of-life': {
        none: () => 'The watch shows the sign by which it tells that its cell is nearly spent.',
        one: () =>
          'We wrote to you that the watch shows the sign of a nearly spent cell; in our book it is still inside.',
        more: () =>
          'You have had letters from us because the watch shows the sign of a nearly spent cell. You are welcome without an appointment.',
      },
    },
    unsure:
      'Our book is unsure about this watch: two entries do not fit together, and we have used the more careful one. If you have a receipt or remember it better, tell us and we shall correct it.',
    why: {
      'service-mechanical':
        'Oil in a movement dries with the years, whether the watch is worn or not. The parts then wear on each other without showing it, and what would have been a service becomes a repair.',
      'service-quartz':
        'A quartz movement has wheels and oil too, and the oil dries with the years. It then needs more current, and worn parts have to be replaced where cleaning would have been enough.',
      'water-check':
        'Seals harden and wear, and a test holds for its own day only. Water that gets in does its damage before one sees it through the crystal.',
      'cell-change':
        'A cell of this kind should be changed in time even when the watch still runs. A spent cell left inside can leak, and repairing what it spoils costs many times the change.',
      seals: 'Seals harden with the years and then no longer close. They are replaced when the case is open anyway.',
    },
    runsWell: 'The watch may well run perfectly - that is exactly why we write: it gives no sign beforehand.',

    price: ({ money, until, takes }) =>
      `As a guide it costs ${money} (until ${until}) and takes about ${takes}. We tell you the exact price before we begin.`,
    noPrice: 'We tell you the price and how long it takes before we begin, and do nothing without your yes.',
    folded: ({ list }) => `The same visit covers ${list}: one visit, one price.`,

    movedLater: ({ the, told, day }) =>
      `An earlier letter of ours named ${told} for ${the}. That day has moved to ${day}; please disregard the earlier one.`,
    guarantee: ({ lastDay }) =>
      `Our guarantee on the last work runs until ${lastDay}. If anything is not right, tell us now.`,
    caution: {
      'no-water-until-tested': 'Please no water until it has been tested.',
      'keep-dry': 'Please keep this watch dry: by what we know it is not made for water, or no longer keeps it out.',
      radium:
        'This watch may carry radioactive luminous paint. Please do not open it and do not sleep beside it; ask us. It will be handled only where local rules and a licensed practice allow.',
      tritium: 'Its luminous marks fade by about half in twelve years; this is age, not a fault.',
      'cell-and-children':
        'Keep cells away from children. If one has been swallowed, call the emergency services or a poison line at once.',
      'leaking-cell': 'Please do not open the watch yourself: what runs out of a cell is caustic to skin and eyes.',
      rechargeable: 'Please do not leave it flat and in the dark for long; what its maker says comes first.',
    },

    comeBy: (day) => `Please come by, or send it in, by ${day}. A calendar entry for that day is attached.`,
    tellUs: 'A short word from you may change the date, for example:',
    telling: {
      'worn-now-and-then': 'you wear it only now and then, away from shocks, heat and cold',
      'never-in-water': 'it is never near water',
      'maker-says-otherwise': "the maker's booklet says something else",
      'done-elsewhere': 'it was done elsewhere, and when',
      sold: 'you have sold it or passed it on',
      stored: 'it is stored away and not worn',
    },
    tellUsByLink: 'Tell us here, without an account',
    tellUsByReply: 'A reply to this letter or a call is enough, and we shall correct our book.',
    deferring:
      "These dates follow the maker's guidance where we have it, and otherwise common workshop practice. They are a recommendation, not a finding about your watch. The law of your country, the maker's instructions and the judgement of a qualified watchmaker come first.",
    deferringWater:
      'Water resistance is tested on one day and at one pressure. It is not permanent; seals age, and heat, soap, blows and opening the case shorten it.',
    stopByLink: 'Fewer letters from us, or none',
    stopByReply: 'If you would rather have fewer letters from us, or none, reply with a word and we stop.',
    contact: ({ list }) => `You reach us at: ${list}.`,
    regards: 'With kind regards',

    calendarSummary: ({ centre, watch }) => `Bring ${watch} to ${centre}`,
  },

  page: {
    title: 'Your watches with us',
    letters: 'Letters from us',
    lettersIntro: 'Choose what we may write to you about.',
    choice: {
      'complete-service': 'Complete service',
      'water-check': 'Water-resistance test',
      'cell-change': 'Change of the cell',
    },
    writeToMe: 'write to me',
    doNotWrite: 'do not write',
    stopAll: 'Stop all these letters',
    save: 'Save my choice',
    sold: 'I have sold it or passed it on.',
    soldButton: 'It is no longer mine',
    doneElsewhere: 'It was done elsewhere.',
    doneWhat: {
      'complete-service': 'Complete service',
      'water-check': 'Water-resistance test',
      'cell-change': 'Change of the cell',
    },
    doneOn: 'On what day?',
    doneButton: 'It was done',
    neverInWater: 'I never wear it in water.',
    neverInWaterButton: 'Never in water',
    nowAndThen: 'I wear it only now and then, away from shocks, heat and cold.',
    nowAndThenButton: 'Only now and then',
    proposeDay: 'I should like to come on:',
    proposeButton: 'Propose this day',
    proposedNote: 'We shall answer you whether the day suits.',
    thanks: 'Thank you',
    stopped: 'We shall not send you these letters any more.',
    saved: 'Your choice is in our book.',
    soldThanks: 'We have noted that the watch is no longer yours and shall not write to you about it any more.',
    doneThanks: 'We have noted it as you told us, and reckoned the date anew.',
    wearThanks: 'We have noted it as you told us, and reckoned the date anew.',
    proposedThanks: (day) => `You propose ${day}. We shall answer you whether it suits.`,
    dayMissing: 'Please give a day that exists.',
    dayInFuture: 'That day has not come yet.',
    dayInPast: 'Please choose a day from tomorrow on.',
    dayTooFar: 'Please choose a day within the next year.',
    back: 'Back',
    notFoundTitle: 'Not found',
    notFound: 'This link is not valid, or not any more. Please reply to our letter or call us.',
    tooMany: 'Too many tries. Please wait a minute.',
    notNow: 'We cannot do this at the moment. Please try again in a few minutes.',
    noWatch: 'There is no watch in our book under your name at present.',
  },
}
