import { byPrecision, counted, dayFormats, spanIn } from './formats.ts'
import type { Texts } from './sentences.ts'

const locale = 'fr-FR'
const days = dayFormats(locale)
const units = { minutes: 'minute', days: 'day', weeks: 'week' } as const
// French says "1er mars"; Intl writes "1 mars"
const full = (day: string) => days.full(day).replace(/^1 /, '1er ')

export const fr: Texts = {
  locale,
  day: full,
  when: (day) =>
    byPrecision(day, { year: (y) => `en ${y}`, month: (m) => `en ${days.month(m)}`, day: (d) => `le ${full(d)}` }),
  span: (months) => spanIn(locale, months),
  takes: (from, to, unit) =>
    from === to ? counted(locale, units[unit], to) : `${from} à ${counted(locale, units[unit], to)}`,

  letter: {
    subjectOne: ({ what, watch }) => `Votre ${watch} : ${what}`,
    subjectSeveral: (count) => `À propos de vos ${count} montres`,
    subjectAbout: (watch) => `À propos de votre ${watch}`,
    greeting: (name) => `Bonjour ${name},`,
    writer: ({ centre, count }) =>
      count === 1
        ? `${centre} vous écrit au sujet d’une montre qui est à vous.`
        : `${centre} vous écrit au sujet de ${count} montres qui sont à vous.`,
    numberEnding: (digits) => `numéro finissant par ${digits}`,

    the: {
      'complete-service': 'la révision complète',
      'water-check': 'le contrôle de la résistance à l’eau',
      'cell-change': 'le changement de la pile',
      seals: 'le remplacement des joints',
    },
    forThe: {
      'complete-service': 'la révision complète',
      'water-check': 'le contrôle de la résistance à l’eau',
      'cell-change': 'le changement de la pile',
      seals: 'le remplacement des joints',
    },
    what: {
      'complete-service': 'révision complète',
      'water-check': 'contrôle de la résistance à l’eau',
      'cell-change': 'changement de la pile',
      seals: 'joints neufs',
    },

    lastDone: {
      'own-record': {
        'complete-service': (when) => `Nous l’avons révisée complètement pour la dernière fois ${when}.`,
        'water-check': (when) => `Sa résistance à l’eau a été contrôlée chez nous pour la dernière fois ${when}.`,
        'cell-change': (when) => `Sa pile a été changée chez nous pour la dernière fois ${when}.`,
        seals: (when) => `Ses joints ont été remplacés chez nous pour la dernière fois ${when}.`,
      },
      paper: {
        'complete-service': (when) =>
          `D’après un papier que nous avons vu, elle a été révisée complètement pour la dernière fois ${when}.`,
        'water-check': (when) =>
          `D’après un papier que nous avons vu, sa résistance à l’eau a été contrôlée pour la dernière fois ${when}.`,
        'cell-change': (when) =>
          `D’après un papier que nous avons vu, sa pile a été changée pour la dernière fois ${when}.`,
        seals: (when) =>
          `D’après un papier que nous avons vu, ses joints ont été remplacés pour la dernière fois ${when}.`,
      },
      'owner-word': {
        'complete-service': (when) =>
          `D’après ce qu’on nous a dit, elle a été révisée complètement pour la dernière fois ${when}.`,
        'water-check': (when) =>
          `D’après ce qu’on nous a dit, sa résistance à l’eau a été contrôlée pour la dernière fois ${when}.`,
        'cell-change': (when) => `D’après ce qu’on nous a dit, sa pile a été changée pour la dernière fois ${when}.`,
        seals: (when) => `D’après ce qu’on nous a dit, ses joints ont été remplacés pour la dernière fois ${when}.`,
      },
    },
    noRecord: {
      'complete-service': 'Notre livre ne mentionne aucune révision complète.',
      'water-check': 'Notre livre ne mentionne aucun contrôle de la résistance à l’eau.',
      'cell-change': 'Notre livre ne dit pas quand sa pile a été changée pour la dernière fois.',
      seals: 'Notre livre ne dit pas quand ses joints ont été remplacés pour la dernière fois.',
    },
    soldNew: (when) => `À notre connaissance, elle a été vendue neuve ${when}.`,
    madeThen: (when) => `À notre connaissance, elle a été fabriquée ${when}.`,

    due: {
      'coming-up': {
        none: ({ the, day }) => `D’après notre livre, ${the} est à prévoir pour le ${day}.`,
        one: ({ the, day }) => `Nous vous avons déjà écrit à ce sujet : ${the} est à prévoir pour le ${day}.`,
        more: ({ the, day }) =>
          `Vous avez déjà reçu des lettres de nous à ce sujet ; en bref, ${the} est à prévoir pour le ${day}.`,
      },
      due: {
        none: ({ the, day }) => `D’après notre livre, le moment est venu pour ${the} ; la date est le ${day}.`,
        one: ({ the, day }) =>
          `Nous vous avons déjà écrit à ce sujet : le moment est venu pour ${the} ; la date est le ${day}.`,
        more: ({ the, day }) =>
          `Vous avez déjà reçu des lettres de nous à ce sujet ; en bref, le moment est venu pour ${the} ; la date est le ${day}.`,
      },
      overdue: {
        none: ({ the, day }) => `D’après notre livre, ${the} était à faire pour le ${day}.`,
        one: ({ the, day }) =>
          `Nous vous avons déjà écrit à ce sujet : ${the} était à faire pour le ${day}, et reste à faire d’après notre livre.`,
        more: ({ the, day }) =>
          `Vous avez déjà reçu des lettres de nous à ce sujet : ${the} était à faire pour le ${day}, et reste à faire d’après notre livre. Nous ne voulons pas insister ; l’inscription reste dans notre livre et vous serez bienvenu quand cela vous conviendra.`,
      },
      'to-be-assessed': {
        none: ({ the }) =>
          `Nous connaissons trop mal son passé pour dire quand prévoir ${the}, et nous aimerions la voir une fois. C’est la seule lettre à ce sujet.`,
        one: ({ the }) =>
          `Nous connaissons toujours trop mal son passé pour dire quand prévoir ${the}. Un mot de votre part, ou un bref regard sur la montre, suffit.`,
        more: ({ the }) =>
          `Nous connaissons toujours trop mal son passé pour dire quand prévoir ${the}. Un mot de votre part, ou un bref regard sur la montre, suffit.`,
      },
    },
    interval: {
      maker: (span) => `Le fabricant indique pour cette montre : ${span}.`,
      note: (span) => `À sa dernière visite, notre horloger a noté que cette montre devrait revenir après ${span}.`,
      quartz: (span) => `Pour une montre à quartz, l’usage est de compter ${span} entre deux révisions.`,
      'high-beat': (span) =>
        `Son mouvement bat vite, et pour un tel mouvement l’usage est de compter ${span} entre deux révisions.`,
      'rarely-worn': (span) =>
        `Comme vous ne la portez que de temps en temps, loin des chocs, de la chaleur et du froid, nous comptons ${span}.`,
      exposed: (span) => `Comme elle est exposée aux chocs, à la chaleur ou au froid, nous comptons ${span}.`,
      usual: (span) => `L’usage est de compter ${span}.`,
      'hard-use': (span) =>
        `Comme elle va souvent dans l’eau, ou dans le sel, le chlore ou l’eau chaude, nous comptons ${span}.`,
      'now-and-then': (span) => `Comme elle va de temps en temps dans l’eau, nous comptons ${span}.`,
      'frequency-unknown': (span) =>
        `Comme elle va dans l’eau et que nous ne savons pas combien de fois, nous comptons ${span}.`,
      'use-unknown': (span) =>
        `Nous ne savons pas si elle va dans l’eau, et comptons ${span} ; si elle n’y va jamais, dites-le-nous.`,
      'water-use': (span) => `Pour une montre portée dans l’eau, nous comptons ${span}.`,
      'best-before': () =>
        'La pile qu’elle contient porte une date limite de son fabricant, et cette date vient en premier.',
      consumption: () =>
        'D’après le courant que nous avons mesuré, la pile qu’elle contient ne durera pas plus longtemps.',
    },
    event: {
      trouble: {
        none: ({ when }) =>
          `Quelque chose ne va pas, d’après ce que notre livre a noté${when ? ` ${when}` : ''} ; il faudrait la regarder.`,
        one: () =>
          'Nous vous avons écrit que quelque chose ne va pas ; d’après notre livre, la question reste ouverte.',
        more: () =>
          'Vous avez déjà reçu des lettres de nous parce que quelque chose ne va pas ; la question reste ouverte, et vous serez bienvenu quand cela vous conviendra.',
      },
      'opened-since-test': {
        none: ({ when }) =>
          `Elle a été ouverte${when ? ` ${when}` : ''} et, à notre connaissance, pas contrôlée depuis ; personne ne peut donc dire si elle retient encore l’eau.`,
        one: () =>
          'Nous vous avons écrit qu’elle a été ouverte et, à notre connaissance, pas contrôlée depuis ; la question reste ouverte.',
        more: () =>
          'Vous avez déjà reçu des lettres de nous parce qu’elle a été ouverte et, à notre connaissance, pas contrôlée depuis ; vous serez bienvenu quand cela vous conviendra.',
      },
      'not-resistant': {
        none: ({ when }) =>
          `Au dernier contrôle ou examen${when ? ` (${when})` : ''} elle ne retenait pas l’eau, et d’après notre livre elle va dans l’eau.`,
        one: () => 'Nous vous avons écrit qu’elle ne retient pas l’eau pour le moment ; la question reste ouverte.',
        more: () =>
          'Vous avez déjà reçu des lettres de nous parce qu’elle ne retient pas l’eau pour le moment ; vous serez bienvenu quand cela vous conviendra.',
      },
      leaking: {
        none: () =>
          'D’après ce qu’on nous a dit ou ce que nous avons vu, sa pile coule. Merci d’apporter la montre bientôt : ce qui coule d’une pile abîme le mouvement.',
        one: () =>
          'Nous vous avons écrit au sujet de la pile qui coule ; d’après notre livre, elle est encore dans la montre. Ce qui coule d’une pile abîme le mouvement.',
        more: () =>
          'Vous avez déjà reçu des lettres de nous au sujet de la pile qui coule ; d’après notre livre, elle est encore dans la montre. Vous êtes bienvenu sans rendez-vous.',
      },
      spent: {
        none: () =>
          'D’après ce qu’on nous a dit, la montre est arrêtée parce que sa pile est vide. Merci de faire bientôt enlever ou changer la pile.',
        one: () =>
          'Nous vous avons écrit au sujet de la pile vide ; d’après notre livre, elle est encore dans la montre.',
        more: () =>
          'Vous avez déjà reçu des lettres de nous au sujet de la pile vide ; d’après notre livre, elle est encore dans la montre. Vous êtes bienvenu sans rendez-vous.',
      },
      'end-of-life': {
        none: () => 'La montre montre le signe par lequel elle annonce que sa pile est presque vide.',
        one: () =>
          'Nous vous avons écrit que la montre montre le signe d’une pile presque vide ; d’après notre livre, elle est encore dans la montre.',
        more: () =>
          'Vous avez déjà reçu des lettres de nous parce que la montre montre le signe d’une pile presque vide. Vous êtes bienvenu sans rendez-vous.',
      },
    },
    unsure:
      'Notre livre n’est pas sûr pour cette montre : deux inscriptions ne vont pas ensemble, et nous avons pris la plus prudente. Si vous avez un reçu ou savez mieux, dites-le-nous et nous corrigerons.',
    why: {
      'service-mechanical':
        'L’huile d’un mouvement sèche avec les années, que la montre soit portée ou non. Les pièces s’usent alors sans qu’on le remarque, et ce qui aurait été une révision devient une réparation.',
      'service-quartz':
        'Un mouvement à quartz a lui aussi des roues et de l’huile, et l’huile sèche avec les années. Il lui faut alors plus de courant, et des pièces usées sont à remplacer là où un nettoyage aurait suffi.',
      'water-check':
        'Les joints durcissent et s’usent, et un contrôle ne vaut que pour son jour. L’eau qui entre fait des dégâts avant qu’on la voie sous le verre.',
      'cell-change':
        'Une telle pile se change à temps, même si la montre marche encore. Une pile vide laissée dedans peut couler, et réparer ce qu’elle abîme coûte bien plus que la changer.',
      seals:
        'Les joints durcissent avec les années et ne ferment plus. On les remplace quand le boîtier est ouvert de toute façon.',
    },
    runsWell:
      'Il se peut très bien que la montre marche parfaitement - c’est justement pourquoi nous écrivons : elle ne donne aucun signe avant.',

    price: ({ money, until, takes }) =>
      `À titre indicatif, cela coûte ${money} (jusqu’au ${until}) et prend environ ${takes}. Nous vous disons le prix exact avant de commencer.`,
    noPrice: 'Nous vous disons le prix et la durée avant de commencer, et ne faisons rien sans votre accord.',
    folded: ({ list }) => `La même visite comprend aussi : ${list}. Une visite, un prix.`,

    movedLater: ({ the, told, day }) =>
      `Une lettre précédente indiquait le ${told} pour ${the}. Cette date est reportée au ${day} ; veuillez ne pas tenir compte de la lettre précédente.`,
    guarantee: ({ lastDay }) =>
      `Notre garantie sur le dernier travail court jusqu’au ${lastDay} inclus. Si quelque chose ne va pas, dites-le-nous maintenant.`,
    caution: {
      'no-water-until-tested': 'Merci d’éviter l’eau tant qu’elle n’est pas contrôlée.',
      'keep-dry':
        'Merci de garder cette montre au sec : d’après ce que nous savons, elle n’est pas faite pour l’eau, ou ne la retient plus.',
      radium:
        'Cette montre porte peut-être une peinture lumineuse radioactive. Merci de ne pas l’ouvrir et de ne pas dormir à côté ; demandez-nous. Elle ne sera traitée que là où les règles locales et un atelier autorisé le permettent.',
      tritium: 'Ses marques lumineuses perdent environ la moitié en douze ans ; c’est l’âge, pas un défaut.',
      'cell-and-children':
        'Gardez les piles hors de portée des enfants. Si l’une a été avalée, appelez tout de suite les secours ou un centre antipoison.',
      'leaking-cell': 'Merci de ne pas ouvrir la montre vous-même : ce qui coule d’une pile brûle la peau et les yeux.',
      rechargeable:
        'Merci de ne pas la laisser longtemps déchargée et dans le noir ; ce que dit le fabricant passe avant.',
    },

    comeBy: (day) =>
      `Merci de passer, ou de nous l’envoyer, d’ici au ${day}. Une entrée d’agenda pour ce jour est jointe.`,
    tellUs: 'Un mot de votre part peut changer la date, par exemple :',
    telling: {
      'worn-now-and-then': 'vous ne la portez que de temps en temps, loin des chocs, de la chaleur et du froid',
      'never-in-water': 'elle n’est jamais près de l’eau',
      'maker-says-otherwise': 'le livret du fabricant dit autre chose',
      'done-elsewhere': 'cela a été fait ailleurs, et quand',
      sold: 'vous l’avez vendue ou donnée',
      stored: 'elle est rangée et n’est pas portée',
    },
    tellUsByLink: 'Nous le dire ici, sans compte',
    tellUsByReply: 'Une réponse à cette lettre ou un appel suffit, et nous corrigerons notre livre.',
    deferring:
      'Ces dates suivent les indications du fabricant quand nous les avons, et sinon l’usage des ateliers. Elles sont une recommandation, pas un constat sur votre montre. Le droit de votre pays, les instructions du fabricant et le jugement d’un horloger qualifié passent avant.',
    deferringWater:
      'La résistance à l’eau est contrôlée un jour donné et à une pression donnée. Elle n’est pas permanente ; les joints vieillissent, et la chaleur, le savon, les chocs et l’ouverture du boîtier l’abrègent.',
    stopByLink: 'Moins de lettres de notre part, ou aucune',
    stopByReply: 'Si vous préférez moins de lettres de notre part, ou aucune, répondez d’un mot et nous cessons.',
    contact: ({ list }) => `Vous nous joignez ainsi : ${list}.`,
    regards: 'Avec nos salutations',

    calendarSummary: ({ centre, watch }) => `Apporter ${watch} chez ${centre}`,
  },

  page: {
    title: 'Vos montres chez nous',
    letters: 'Nos lettres',
    lettersIntro: 'Choisissez ce dont nous pouvons vous écrire.',
    choice: {
      'complete-service': 'Révision complète',
      'water-check': 'Contrôle de la résistance à l’eau',
      'cell-change': 'Changement de la pile',
    },
    writeToMe: 'écrivez-moi',
    doNotWrite: 'ne pas écrire',
    stopAll: 'Ne plus recevoir ces lettres',
    save: 'Enregistrer mon choix',
    sold: 'Je l’ai vendue ou donnée.',
    soldButton: 'Elle n’est plus à moi',
    doneElsewhere: 'Cela a été fait ailleurs.',
    doneWhat: {
      'complete-service': 'Révision complète',
      'water-check': 'Contrôle de la résistance à l’eau',
      'cell-change': 'Changement de la pile',
    },
    doneOn: 'Quel jour ?',
    doneButton: 'C’est fait',
    neverInWater: 'Je ne la porte jamais dans l’eau.',
    neverInWaterButton: 'Jamais dans l’eau',
    nowAndThen: 'Je ne la porte que de temps en temps, loin des chocs, de la chaleur et du froid.',
    nowAndThenButton: 'De temps en temps seulement',
    proposeDay: 'J’aimerais venir le :',
    proposeButton: 'Proposer ce jour',
    proposedNote: 'Nous vous répondrons si ce jour convient.',
    thanks: 'Merci',
    stopped: 'Nous ne vous enverrons plus ces lettres.',
    saved: 'Votre choix est dans notre livre.',
    soldThanks: 'Nous avons noté que la montre n’est plus à vous et ne vous écrirons plus à son sujet.',
    doneThanks: 'Nous l’avons noté comme vous nous l’avez dit, et recalculé la date.',
    wearThanks: 'Nous l’avons noté comme vous nous l’avez dit, et recalculé la date.',
    proposedThanks: (day) => `Vous proposez le ${day}. Nous vous répondrons si ce jour convient.`,
    dayMissing: 'Merci d’indiquer un jour qui existe.',
    dayInFuture: 'Ce jour n’est pas encore venu.',
    dayInPast: 'Merci de choisir un jour à partir de demain.',
    dayTooFar: 'Merci de choisir un jour dans l’année qui vient.',
    back: 'Retour',
    notFoundTitle: 'Introuvable',
    notFound: 'Ce lien n’est pas valable, ou ne l’est plus. Merci de répondre à notre lettre ou de nous appeler.',
    tooMany: 'Trop d’essais. Merci d’attendre une minute.',
    notNow: 'Cela n’est pas possible pour le moment. Merci de réessayer dans quelques minutes.',
    noWatch: 'Aucune montre n’est actuellement à votre nom dans notre livre.',
  },
}
