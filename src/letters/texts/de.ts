import { byPrecision, counted, dayFormats, spanIn } from './formats.ts'
import type { Texts } from './sentences.ts'

const locale = 'de-DE'
const days = dayFormats(locale)
const units = { minutes: 'minute', days: 'day', weeks: 'week' } as const

export const de: Texts = {
  locale,
  day: days.full,
  when: (day) =>
    byPrecision(day, {
      year: (y) => `im Jahr ${y}`,
      month: (m) => `im ${days.month(m)}`,
      day: (d) => `am ${days.full(d)}`,
    }),
  span: (months) => spanIn(locale, months),
  takes: (from, to, unit) =>
    from === to ? counted(locale, units[unit], to) : `${from} bis ${counted(locale, units[unit], to)}`,

  letter: {
    subjectOne: ({ what, watch }) => `Ihre ${watch}: ${what}`,
    subjectSeveral: (count) => `Zu Ihren ${count} Uhren`,
    subjectAbout: (watch) => `Zu Ihrer ${watch}`,
    greeting: (name) => `Guten Tag ${name}`,
    writer: ({ centre, count }) =>
      count === 1
        ? `Hier schreibt ${centre}, wegen einer Uhr von Ihnen.`
        : `Hier schreibt ${centre}, wegen ${count} Uhren von Ihnen.`,
    numberEnding: (digits) => `Nummer endet auf ${digits}`,

    the: {
      'complete-service': 'die Komplettrevision',
      'water-check': 'die Dichtheitsprüfung',
      'cell-change': 'der Wechsel der Batterie',
      seals: 'der Ersatz der Dichtungen',
    },
    forThe: {
      'complete-service': 'die Komplettrevision',
      'water-check': 'die Dichtheitsprüfung',
      'cell-change': 'den Wechsel der Batterie',
      seals: 'den Ersatz der Dichtungen',
    },
    what: {
      'complete-service': 'Komplettrevision',
      'water-check': 'Dichtheitsprüfung',
      'cell-change': 'Wechsel der Batterie',
      seals: 'neue Dichtungen',
    },

    lastDone: {
      'own-record': {
        'complete-service': (when) => `Wir haben sie zuletzt ${when} komplett revidiert.`,
        'water-check': (when) => `Ihre Dichtheit wurde bei uns zuletzt ${when} geprüft.`,
        'cell-change': (when) => `Ihre Batterie wurde bei uns zuletzt ${when} gewechselt.`,
        seals: (when) => `Ihre Dichtungen wurden bei uns zuletzt ${when} ersetzt.`,
      },
      paper: {
        'complete-service': (when) =>
          `Nach einem Beleg, den wir gesehen haben, wurde sie zuletzt ${when} komplett revidiert.`,
        'water-check': (when) =>
          `Nach einem Beleg, den wir gesehen haben, wurde ihre Dichtheit zuletzt ${when} geprüft.`,
        'cell-change': (when) =>
          `Nach einem Beleg, den wir gesehen haben, wurde ihre Batterie zuletzt ${when} gewechselt.`,
        seals: (when) => `Nach einem Beleg, den wir gesehen haben, wurden ihre Dichtungen zuletzt ${when} ersetzt.`,
      },
      'owner-word': {
        'complete-service': (when) => `Wie uns gesagt wurde, wurde sie zuletzt ${when} komplett revidiert.`,
        'water-check': (when) => `Wie uns gesagt wurde, wurde ihre Dichtheit zuletzt ${when} geprüft.`,
        'cell-change': (when) => `Wie uns gesagt wurde, wurde ihre Batterie zuletzt ${when} gewechselt.`,
        seals: (when) => `Wie uns gesagt wurde, wurden ihre Dichtungen zuletzt ${when} ersetzt.`,
      },
    },
    noRecord: {
      'complete-service': 'Von einer Komplettrevision steht nichts in unserem Buch.',
      'water-check': 'Von einer Dichtheitsprüfung steht nichts in unserem Buch.',
      'cell-change': 'Wann ihre Batterie zuletzt gewechselt wurde, steht nicht in unserem Buch.',
      seals: 'Wann ihre Dichtungen zuletzt ersetzt wurden, steht nicht in unserem Buch.',
    },
    soldNew: (when) => `Soweit wir wissen, wurde sie ${when} neu verkauft.`,
    madeThen: (when) => `Soweit wir wissen, wurde sie ${when} hergestellt.`,

    due: {
      'coming-up': {
        none: ({ the, day }) => `Nach unserem Buch steht ${the} am ${day} an.`,
        one: ({ the, day }) => `Wir haben Ihnen deswegen schon geschrieben: Am ${day} steht ${the} an.`,
        more: ({ the, day }) =>
          `Sie haben deswegen schon Briefe von uns bekommen; darum nur kurz: Am ${day} steht ${the} an.`,
      },
      due: {
        none: ({ the, day }) => `Nach unserem Buch ist ${the} jetzt an der Reihe; der Tag ist der ${day}.`,
        one: ({ the, day }) =>
          `Wir haben Ihnen deswegen schon geschrieben: Jetzt ist ${the} an der Reihe; der Tag ist der ${day}.`,
        more: ({ the, day }) =>
          `Sie haben deswegen schon Briefe von uns bekommen; darum nur kurz: Jetzt ist ${the} an der Reihe; der Tag ist der ${day}.`,
      },
      overdue: {
        none: ({ the, day }) => `Nach unserem Buch stand ${the} am ${day} an.`,
        one: ({ the, day }) =>
          `Wir haben Ihnen deswegen schon geschrieben: Am ${day} stand ${the} an, und in unserem Buch ist das noch offen.`,
        more: ({ the, day }) =>
          `Sie haben deswegen schon Briefe von uns bekommen: Am ${day} stand ${the} an, und in unserem Buch ist das noch offen. Wir wollen Sie nicht drängen; der Eintrag bleibt in unserem Buch, und Sie sind willkommen, wann immer es Ihnen passt.`,
      },
      'to-be-assessed': {
        none: ({ the }) =>
          `Wir wissen zu wenig von ihrer Vergangenheit, um zu sagen, wann ${the} ansteht, und möchten sie gern einmal ansehen. Dies ist der einzige Brief dazu.`,
        one: ({ the }) =>
          `Wir wissen noch immer zu wenig von ihrer Vergangenheit, um zu sagen, wann ${the} ansteht. Ein Wort von Ihnen oder ein kurzer Blick auf die Uhr klärt es.`,
        more: ({ the }) =>
          `Wir wissen noch immer zu wenig von ihrer Vergangenheit, um zu sagen, wann ${the} ansteht. Ein Wort von Ihnen oder ein kurzer Blick auf die Uhr klärt es.`,
      },
    },
    interval: {
      maker: (span) => `Der Hersteller gibt für diese Uhr ${span} vor.`,
      note: (span) =>
        `Unser Uhrmacher hat beim letzten Mal vermerkt, dass diese Uhr nach ${span} wiederkommen soll. Gezählt wird ab jenem Besuch.`,
      quartz: (span) => `Bei einer Quarzuhr ist der übliche Abstand zwischen zwei Revisionen: ${span}.`,
      'high-beat': (span) => `Ihr Werk schwingt schnell; bei einem solchen Werk ist der übliche Abstand: ${span}.`,
      'rarely-worn': (span) =>
        `Da Sie sie nur ab und zu tragen, fern von Stößen, Hitze und Kälte, rechnen wir so: ${span}.`,
      exposed: (span) => `Da sie Stößen, Hitze oder Kälte ausgesetzt ist, rechnen wir so: ${span}.`,
      usual: (span) => `Der übliche Abstand ist: ${span}.`,
      'hard-use': (span) =>
        `Da sie oft im Wasser ist oder mit Salz, Chlor oder heißem Wasser in Berührung kommt, rechnen wir so: ${span}.`,
      'now-and-then': (span) => `Da sie ab und zu im Wasser ist, rechnen wir so: ${span}.`,
      'frequency-unknown': (span) =>
        `Da sie im Wasser getragen wird und wir nicht wissen, wie oft, rechnen wir so: ${span}.`,
      'use-unknown': (span) =>
        `Ob sie je ins Wasser kommt, wissen wir nicht und rechnen so: ${span}. Kommt sie nie ins Wasser, sagen Sie es uns.`,
      'water-use': (span) => `Bei einer Uhr, die im Wasser getragen wird, rechnen wir so: ${span}.`,
      'best-before': () =>
        'Die Batterie in der Uhr trägt ein eigenes Datum ihres Herstellers, und dieses kommt zuerst.',
      consumption: () => 'Nach dem Strom, den wir gemessen haben, reicht die Batterie in der Uhr nicht länger.',
    },
    event: {
      trouble: {
        none: ({ when }) =>
          `Etwas stimmt nicht mit ihr, so steht es${when ? ` ${when}` : ''} in unserem Buch; das sollte man ansehen.`,
        one: () => 'Wir haben Ihnen geschrieben, dass etwas mit ihr nicht stimmt; in unserem Buch ist das noch offen.',
        more: () =>
          'Sie haben schon Briefe von uns bekommen, weil etwas mit ihr nicht stimmt; das ist noch offen, und Sie sind willkommen, wann immer es Ihnen passt.',
      },
      'opened-since-test': {
        none: ({ when }) =>
          `Sie wurde${when ? ` ${when}` : ''} geöffnet und, soweit wir wissen, seither nicht geprüft; niemand kann also sagen, ob sie Wasser noch abhält.`,
        one: () =>
          'Wir haben Ihnen geschrieben, dass sie geöffnet und, soweit wir wissen, seither nicht geprüft wurde; in unserem Buch ist das noch offen.',
        more: () =>
          'Sie haben schon Briefe von uns bekommen, weil sie geöffnet und, soweit wir wissen, seither nicht geprüft wurde; Sie sind willkommen, wann immer es Ihnen passt.',
      },
      'not-resistant': {
        none: ({ when }) =>
          `Bei der letzten Prüfung oder Durchsicht${when ? ` (${when})` : ''} hielt sie Wasser nicht ab, und nach unserem Buch kommt sie ins Wasser.`,
        one: () =>
          'Wir haben Ihnen geschrieben, dass sie zurzeit Wasser nicht abhält; in unserem Buch ist das noch offen.',
        more: () =>
          'Sie haben schon Briefe von uns bekommen, weil sie zurzeit Wasser nicht abhält; Sie sind willkommen, wann immer es Ihnen passt.',
      },
      leaking: {
        none: () =>
          'Nach dem, was uns gesagt wurde oder was wir gesehen haben, läuft die Batterie in der Uhr aus. Bitte bringen Sie die Uhr bald: Was ausläuft, verdirbt das Werk.',
        one: () =>
          'Wir haben Ihnen wegen der auslaufenden Batterie geschrieben; nach unserem Buch ist sie noch in der Uhr. Was ausläuft, verdirbt das Werk.',
        more: () =>
          'Sie haben schon Briefe von uns wegen der auslaufenden Batterie bekommen; nach unserem Buch ist sie noch in der Uhr. Sie sind ohne Termin willkommen.',
      },
      spent: {
        none: () =>
          'Nach dem, was uns gesagt wurde, steht die Uhr, weil ihre Batterie leer ist. Bitte lassen Sie die Batterie bald herausnehmen oder wechseln.',
        one: () => 'Wir haben Ihnen wegen der leeren Batterie geschrieben; nach unserem Buch ist sie noch in der Uhr.',
        more: () =>
          'Sie haben schon Briefe von uns wegen der leeren Batterie bekommen; nach unserem Buch ist sie noch in der Uhr. Sie sind ohne Termin willkommen.',
      },
      'end-of-life': {
        none: () => 'Die Uhr zeigt das Zeichen, mit dem sie meldet, dass ihre Batterie fast leer ist.',
        one: () =>
          'Wir haben Ihnen geschrieben, dass die Uhr das Zeichen einer fast leeren Batterie zeigt; nach unserem Buch ist sie noch in der Uhr.',
        more: () =>
          'Sie haben schon Briefe von uns bekommen, weil die Uhr das Zeichen einer fast leeren Batterie zeigt. Sie sind ohne Termin willkommen.',
      },
    },
    unsure:
      'Unser Buch ist bei dieser Uhr unsicher: Zwei Einträge passen nicht zusammen, und wir haben den vorsichtigeren genommen. Wenn Sie einen Beleg haben oder es besser wissen, sagen Sie es uns, und wir berichtigen es.',
    why: {
      'service-mechanical':
        'Das Öl in einem Werk trocknet mit den Jahren, ob die Uhr getragen wird oder nicht. Die Teile reiben dann aneinander, ohne dass man es merkt, und aus einer Revision wird eine Reparatur.',
      'service-quartz':
        'Auch ein Quarzwerk hat Räder und Öl, und das Öl trocknet mit den Jahren. Dann braucht es mehr Strom, und abgenutzte Teile müssen ersetzt werden, wo eine Reinigung genügt hätte.',
      'water-check':
        'Dichtungen werden hart und nutzen sich ab, und eine Prüfung gilt nur für ihren eigenen Tag. Wasser, das eindringt, richtet Schaden an, bevor man es unter dem Glas sieht.',
      'cell-change':
        'Eine solche Batterie sollte rechtzeitig gewechselt werden, auch wenn die Uhr noch läuft. Eine leere Batterie kann in der Uhr auslaufen, und was sie verdirbt, kostet ein Vielfaches des Wechsels.',
      seals:
        'Dichtungen werden mit den Jahren hart und schließen dann nicht mehr. Sie werden ersetzt, wenn das Gehäuse ohnehin offen ist.',
    },
    runsWell:
      'Es kann gut sein, dass die Uhr tadellos läuft - gerade darum schreiben wir: Sie gibt vorher kein Zeichen.',

    price: ({ money, until, takes }) =>
      `Der Richtpreis ist ${money} (bis ${until}), und es dauert etwa ${takes}. Den genauen Preis nennen wir, bevor wir beginnen.`,
    noPrice: 'Preis und Dauer nennen wir, bevor wir beginnen; ohne Ihr Ja tun wir nichts.',
    folded: ({ list }) => `Derselbe Besuch umfasst auch: ${list}. Ein Besuch, ein Preis.`,

    movedLater: ({ the, told, day }) =>
      `In einem früheren Brief nannten wir für ${the} den ${told}. Dieser Tag hat sich auf den ${day} verschoben; der frühere Brief ist damit hinfällig.`,
    guarantee: ({ lastDay }) =>
      `Unsere Garantie auf die letzte Arbeit läuft bis und mit ${lastDay}. Wenn etwas nicht stimmt, sagen Sie es uns jetzt.`,
    caution: {
      'no-water-until-tested': 'Bitte kein Wasser, bis sie geprüft ist.',
      'keep-dry':
        'Bitte halten Sie diese Uhr trocken: Nach allem, was wir wissen, ist sie nicht für Wasser gemacht oder hält es nicht mehr ab.',
      radium:
        'Diese Uhr trägt vielleicht radioaktive Leuchtfarbe. Bitte öffnen Sie sie nicht, und schlafen Sie nicht neben ihr; fragen Sie uns. Sie wird nur dort bearbeitet, wo die örtlichen Vorschriften und eine zugelassene Werkstatt es erlauben.',
      tritium: 'Ihre Leuchtmarken verlieren in zwölf Jahren etwa die Hälfte; das ist das Alter, kein Fehler.',
      'cell-and-children':
        'Halten Sie Batterien von Kindern fern. Wurde eine verschluckt, rufen Sie sofort den Notruf oder den Giftnotruf an.',
      'leaking-cell': 'Bitte öffnen Sie die Uhr nicht selbst: Was aus einer Batterie läuft, verätzt Haut und Augen.',
      rechargeable: 'Bitte lassen Sie sie nicht lange leer und im Dunkeln liegen; was der Hersteller sagt, geht vor.',
    },

    comeBy: (day) => `Bitte bringen oder senden Sie sie uns bis ${day}. Ein Kalendereintrag für diesen Tag liegt bei.`,
    tellUs: 'Ein kurzes Wort von Ihnen kann das Datum ändern, zum Beispiel:',
    telling: {
      'worn-now-and-then': 'Sie tragen sie nur ab und zu, fern von Stößen, Hitze und Kälte',
      'never-in-water': 'sie kommt nie in die Nähe von Wasser',
      'maker-says-otherwise': 'im Heft des Herstellers steht etwas anderes',
      'done-elsewhere': 'es wurde anderswo gemacht, und wann',
      sold: 'Sie haben sie verkauft oder weitergegeben',
      stored: 'sie liegt weggeräumt und wird nicht getragen',
    },
    tellUsByLink: 'Hier können Sie es uns sagen, ohne Konto',
    tellUsByReply: 'Eine Antwort auf diesen Brief oder ein Anruf genügt, und wir berichtigen unser Buch.',
    deferring:
      'Diese Daten folgen den Angaben des Herstellers, wo wir sie haben, sonst der üblichen Werkstattpraxis. Sie sind eine Empfehlung, kein Befund über Ihre Uhr. Das Recht Ihres Landes, die Anleitung des Herstellers und das Urteil eines ausgebildeten Uhrmachers gehen vor.',
    deferringWater:
      'Die Dichtheit wird an einem Tag und bei einem Druck geprüft. Sie ist nicht von Dauer; Dichtungen altern, und Hitze, Seife, Schläge und das Öffnen des Gehäuses verkürzen sie.',
    stopByLink: 'Weniger oder keine Briefe von uns',
    stopByReply: 'Wenn Sie weniger oder keine Briefe von uns möchten, antworten Sie mit einem Wort, und wir hören auf.',
    contact: ({ list }) => `So erreichen Sie uns: ${list}.`,
    regards: 'Mit freundlichen Grüßen',

    calendarSummary: ({ centre, watch }) => `${watch} zu ${centre} bringen`,
  },

  page: {
    title: 'Ihre Uhren bei uns',
    letters: 'Briefe von uns',
    lettersIntro: 'Wählen Sie, worüber wir Ihnen schreiben dürfen.',
    choice: {
      'complete-service': 'Komplettrevision',
      'water-check': 'Dichtheitsprüfung',
      'cell-change': 'Wechsel der Batterie',
    },
    writeToMe: 'schreiben Sie mir',
    doNotWrite: 'nicht schreiben',
    stopAll: 'Keinen dieser Briefe mehr',
    save: 'Meine Wahl speichern',
    sold: 'Ich habe sie verkauft oder weitergegeben.',
    soldButton: 'Sie gehört mir nicht mehr',
    doneElsewhere: 'Es wurde anderswo gemacht.',
    doneWhat: {
      'complete-service': 'Komplettrevision',
      'water-check': 'Dichtheitsprüfung',
      'cell-change': 'Wechsel der Batterie',
    },
    doneOn: 'An welchem Tag?',
    doneButton: 'Es wurde gemacht',
    neverInWater: 'Ich trage sie nie im Wasser.',
    neverInWaterButton: 'Nie im Wasser',
    nowAndThen: 'Ich trage sie nur ab und zu, fern von Stößen, Hitze und Kälte.',
    nowAndThenButton: 'Nur ab und zu',
    proposeDay: 'Ich möchte kommen am:',
    proposeButton: 'Diesen Tag vorschlagen',
    proposedNote: 'Wir antworten Ihnen, ob der Tag passt.',
    thanks: 'Danke',
    stopped: 'Wir senden Ihnen diese Briefe nicht mehr.',
    saved: 'Ihre Wahl steht in unserem Buch.',
    soldThanks: 'Wir haben vermerkt, dass die Uhr nicht mehr Ihnen gehört, und schreiben Ihnen ihretwegen nicht mehr.',
    doneThanks: 'Wir haben es so vermerkt, wie Sie es uns gesagt haben, und das Datum neu gerechnet.',
    wearThanks: 'Wir haben es so vermerkt, wie Sie es uns gesagt haben, und das Datum neu gerechnet.',
    proposedThanks: (day) => `Sie schlagen den ${day} vor. Wir antworten Ihnen, ob er passt.`,
    dayMissing: 'Bitte geben Sie einen Tag an, den es gibt.',
    dayInFuture: 'Dieser Tag ist noch nicht gekommen.',
    dayInPast: 'Bitte wählen Sie einen Tag ab morgen.',
    dayTooFar: 'Bitte wählen Sie einen Tag innerhalb des nächsten Jahres.',
    back: 'Zurück',
    notFoundTitle: 'Nicht gefunden',
    notFound: 'Dieser Link gilt nicht oder nicht mehr. Bitte antworten Sie auf unseren Brief oder rufen Sie uns an.',
    tooMany: 'Zu viele Versuche. Bitte warten Sie eine Minute.',
    notNow: 'Das geht im Augenblick nicht. Bitte versuchen Sie es in einigen Minuten noch einmal.',
    noWatch: 'Unter Ihrem Namen steht zurzeit keine Uhr in unserem Buch.',
  },
}
