import { byPrecision, counted, dayFormats, spanIn } from './formats.ts'
import type { Texts } from './sentences.ts'

const locale = 'es-ES'
const days = dayFormats(locale)
const units = { minutes: 'minute', days: 'day', weeks: 'week' } as const

export const es: Texts = {
  locale,
  day: days.full,
  when: (day) =>
    byPrecision(day, { year: (y) => `en ${y}`, month: (m) => `en ${days.month(m)}`, day: (d) => `el ${days.full(d)}` }),
  span: (months) => spanIn(locale, months),
  takes: (from, to, unit) =>
    from === to ? counted(locale, units[unit], to) : `de ${from} a ${counted(locale, units[unit], to)}`,

  letter: {
    subjectOne: ({ what, watch }) => `Su ${watch}: ${what}`,
    subjectSeveral: (count) => `Sobre sus ${count} relojes`,
    subjectAbout: (watch) => `Sobre su ${watch}`,
    greeting: (name) => `Buenos días, ${name}:`,
    writer: ({ centre, count }) =>
      count === 1 ? `Le escribe ${centre}, por un reloj suyo.` : `Le escribe ${centre}, por ${count} relojes suyos.`,
    numberEnding: (digits) => `número que termina en ${digits}`,

    the: {
      'complete-service': 'la revisión completa',
      'water-check': 'la prueba de resistencia al agua',
      'cell-change': 'el cambio de la pila',
      seals: 'el cambio de las juntas',
    },
    forThe: {
      'complete-service': 'la revisión completa',
      'water-check': 'la prueba de resistencia al agua',
      'cell-change': 'el cambio de la pila',
      seals: 'el cambio de las juntas',
    },
    what: {
      'complete-service': 'revisión completa',
      'water-check': 'prueba de resistencia al agua',
      'cell-change': 'cambio de la pila',
      seals: 'juntas nuevas',
    },

    lastDone: {
      'own-record': {
        'complete-service': (when) => `La última revisión completa se hizo aquí ${when}.`,
        'water-check': (when) => `Su resistencia al agua se probó aquí por última vez ${when}.`,
        'cell-change': (when) => `Su pila se cambió aquí por última vez ${when}.`,
        seals: (when) => `Sus juntas se cambiaron aquí por última vez ${when}.`,
      },
      paper: {
        'complete-service': (when) => `Según un papel que hemos visto, la última revisión completa se hizo ${when}.`,
        'water-check': (when) =>
          `Según un papel que hemos visto, su resistencia al agua se probó por última vez ${when}.`,
        'cell-change': (when) => `Según un papel que hemos visto, su pila se cambió por última vez ${when}.`,
        seals: (when) => `Según un papel que hemos visto, sus juntas se cambiaron por última vez ${when}.`,
      },
      'owner-word': {
        'complete-service': (when) => `Según nos dijeron, la última revisión completa se hizo ${when}.`,
        'water-check': (when) => `Según nos dijeron, su resistencia al agua se probó por última vez ${when}.`,
        'cell-change': (when) => `Según nos dijeron, su pila se cambió por última vez ${when}.`,
        seals: (when) => `Según nos dijeron, sus juntas se cambiaron por última vez ${when}.`,
      },
    },
    noRecord: {
      'complete-service': 'En nuestro libro no consta ninguna revisión completa.',
      'water-check': 'En nuestro libro no consta ninguna prueba de resistencia al agua.',
      'cell-change': 'En nuestro libro no consta cuándo se cambió su pila por última vez.',
      seals: 'En nuestro libro no consta cuándo se cambiaron sus juntas por última vez.',
    },
    soldNew: (when) => `Por lo que sabemos, se vendió nuevo ${when}.`,
    madeThen: (when) => `Por lo que sabemos, se fabricó ${when}.`,

    due: {
      'coming-up': {
        none: ({ the, day }) => `Según nuestro libro, ${the} toca el ${day}.`,
        one: ({ the, day }) => `Ya le escribimos sobre esto: ${the} toca el ${day}.`,
        more: ({ the, day }) => `Ya ha recibido cartas nuestras sobre esto; en pocas palabras, ${the} toca el ${day}.`,
      },
      due: {
        none: ({ the, day }) => `Según nuestro libro, ahora toca ${the}; el día es el ${day}.`,
        one: ({ the, day }) => `Ya le escribimos sobre esto: ahora toca ${the}; el día es el ${day}.`,
        more: ({ the, day }) =>
          `Ya ha recibido cartas nuestras sobre esto; en pocas palabras, ahora toca ${the}; el día es el ${day}.`,
      },
      overdue: {
        none: ({ the, day }) => `Según nuestro libro, ${the} tocaba el ${day}.`,
        one: ({ the, day }) =>
          `Ya le escribimos sobre esto: ${the} tocaba el ${day}, y en nuestro libro sigue pendiente.`,
        more: ({ the, day }) =>
          `Ya ha recibido cartas nuestras sobre esto: ${the} tocaba el ${day}, y en nuestro libro sigue pendiente. No queremos insistir; la anotación queda en nuestro libro y puede venir cuando le convenga.`,
      },
      'to-be-assessed': {
        none: ({ the }) =>
          `Sabemos demasiado poco de su historia para decir cuándo toca ${the}, y nos gustaría verlo una vez. Esta es la única carta sobre ello.`,
        one: ({ the }) =>
          `Seguimos sabiendo demasiado poco de su historia para decir cuándo toca ${the}. Basta una palabra suya o una mirada breve al reloj.`,
        more: ({ the }) =>
          `Seguimos sabiendo demasiado poco de su historia para decir cuándo toca ${the}. Basta una palabra suya o una mirada breve al reloj.`,
      },
    },
    interval: {
      maker: (span) => `El fabricante indica para este reloj: ${span}.`,
      note: (span) => `En su última visita, nuestro relojero anotó que este reloj debería volver al cabo de ${span}.`,
      quartz: (span) => `En un reloj de cuarzo lo habitual entre dos revisiones es: ${span}.`,
      'high-beat': (span) => `Su máquina late rápido, y en una así lo habitual entre dos revisiones es: ${span}.`,
      'rarely-worn': (span) => `Como solo lo lleva de vez en cuando, lejos de golpes, calor y frío, contamos ${span}.`,
      exposed: (span) => `Como está expuesto a golpes, calor o frío, contamos ${span}.`,
      usual: (span) => `Lo habitual es: ${span}.`,
      'hard-use': (span) => `Como está a menudo en el agua, o en sal, cloro o agua caliente, contamos ${span}.`,
      'now-and-then': (span) => `Como está en el agua de vez en cuando, contamos ${span}.`,
      'frequency-unknown': (span) => `Como se usa en el agua y no sabemos con qué frecuencia, contamos ${span}.`,
      'use-unknown': (span) =>
        `No sabemos si alguna vez está en el agua, y contamos ${span}; si nunca lo está, díganoslo.`,
      'water-use': (span) => `En un reloj que se usa en el agua contamos ${span}.`,
      'best-before': () => 'La pila que lleva dentro tiene su propia fecha del fabricante, y esa fecha llega antes.',
      consumption: () => 'Según la corriente que medimos, la pila que lleva dentro no durará más.',
    },
    event: {
      trouble: {
        none: ({ when }) =>
          `Algo no va bien, según se anotó en nuestro libro${when ? ` ${when}` : ''}; habría que mirarlo.`,
        one: () => 'Le escribimos que algo no va bien; en nuestro libro sigue pendiente.',
        more: () =>
          'Ya ha recibido cartas nuestras porque algo no va bien; sigue pendiente, y puede venir cuando le convenga.',
      },
      'opened-since-test': {
        none: ({ when }) =>
          `Se abrió${when ? ` ${when}` : ''} y, por lo que sabemos, no se ha probado desde entonces; nadie puede decir si aún retiene el agua fuera.`,
        one: () =>
          'Le escribimos que se abrió y, por lo que sabemos, no se ha probado desde entonces; sigue pendiente.',
        more: () =>
          'Ya ha recibido cartas nuestras porque se abrió y, por lo que sabemos, no se ha probado desde entonces; puede venir cuando le convenga.',
      },
      'not-resistant': {
        none: ({ when }) =>
          `En la última prueba o revisión${when ? ` (${when})` : ''} no resistía el agua, y según nuestro libro se usa en el agua.`,
        one: () => 'Le escribimos que por ahora no resiste el agua; sigue pendiente.',
        more: () =>
          'Ya ha recibido cartas nuestras porque por ahora no resiste el agua; puede venir cuando le convenga.',
      },
      leaking: {
        none: () =>
          'Según nos dijeron o vimos, su pila pierde líquido. Por favor, traiga pronto el reloj: lo que sale de una pila estropea la máquina.',
        one: () =>
          'Le escribimos por la pila que pierde líquido; según nuestro libro sigue dentro. Lo que sale de una pila estropea la máquina.',
        more: () =>
          'Ya ha recibido cartas nuestras por la pila que pierde líquido; según nuestro libro sigue dentro. Puede venir sin cita.',
      },
      spent: {
        none: () =>
          'Según nos dijeron, el reloj está parado porque su pila está agotada. Por favor, haga que se saque o se cambie pronto.',
        one: () => 'Le escribimos por la pila agotada; según nuestro libro sigue dentro.',
        more: () =>
          'Ya ha recibido cartas nuestras por la pila agotada; según nuestro libro sigue dentro. Puede venir sin cita.',
      },
      'end-of-life': {
        none: () => 'El reloj da la señal con la que avisa de que su pila está casi agotada.',
        one: () => 'Le escribimos que el reloj da la señal de una pila casi agotada; según nuestro libro sigue dentro.',
        more: () =>
          'Ya ha recibido cartas nuestras porque el reloj da la señal de una pila casi agotada. Puede venir sin cita.',
      },
    },
    unsure:
      'Nuestro libro no está seguro con este reloj: dos anotaciones no encajan, y hemos tomado la más prudente. Si tiene un recibo o lo recuerda mejor, díganoslo y lo corregiremos.',
    why: {
      'service-mechanical':
        'El aceite de una máquina se seca con los años, se lleve o no el reloj. Las piezas se desgastan entonces sin que se note, y lo que habría sido una revisión se convierte en una reparación.',
      'service-quartz':
        'Una máquina de cuarzo también tiene ruedas y aceite, y el aceite se seca con los años. Entonces necesita más corriente, y hay que cambiar piezas gastadas donde habría bastado una limpieza.',
      'water-check':
        'Las juntas se endurecen y se desgastan, y una prueba vale solo para su día. El agua que entra hace daño antes de que se vea bajo el cristal.',
      'cell-change':
        'Una pila así se cambia a tiempo aunque el reloj aún funcione. Una pila agotada que se queda dentro puede perder líquido, y reparar lo que estropea cuesta muchas veces el cambio.',
      seals:
        'Las juntas se endurecen con los años y dejan de cerrar. Se cambian cuando la caja se abre de todos modos.',
    },
    runsWell:
      'Puede muy bien que el reloj funcione perfectamente: justo por eso escribimos, porque antes no da ninguna señal.',

    price: ({ money, until, takes }) =>
      `Como orientación cuesta ${money} (hasta el ${until}) y se tarda aproximadamente ${takes}. Le decimos el precio exacto antes de empezar.`,
    noPrice: 'Le decimos el precio y el tiempo antes de empezar, y no hacemos nada sin su sí.',
    folded: ({ list }) => `La misma visita incluye también: ${list}. Una visita, un precio.`,

    movedLater: ({ the, told, day }) =>
      `Una carta anterior nombraba el ${told} para ${the}. Ese día ha pasado al ${day}; no tenga en cuenta la carta anterior.`,
    guarantee: ({ lastDay }) =>
      `Nuestra garantía sobre el último trabajo llega hasta el ${lastDay} incluido. Si algo no está bien, díganoslo ahora.`,
    caution: {
      'no-water-until-tested': 'Por favor, nada de agua hasta que se haya probado.',
      'keep-dry':
        'Por favor, mantenga seco este reloj: por lo que sabemos no está hecho para el agua, o ya no la retiene fuera.',
      radium:
        'Este reloj puede llevar pintura luminosa radiactiva. Por favor, no lo abra ni duerma junto a él; pregúntenos. Solo se trabajará donde las normas locales y un taller autorizado lo permitan.',
      tritium: 'Sus marcas luminosas pierden más o menos la mitad en doce años; es la edad, no un fallo.',
      'cell-and-children':
        'Mantenga las pilas lejos de los niños. Si alguien se ha tragado una, llame en seguida a emergencias o al servicio de información toxicológica.',
      'leaking-cell': 'Por favor, no abra usted el reloj: lo que sale de una pila quema la piel y los ojos.',
      rechargeable: 'Por favor, no lo deje mucho tiempo descargado y a oscuras; lo que diga el fabricante va primero.',
    },

    comeBy: (day) => `Por favor, pase o envíenoslo hasta el ${day}. Adjuntamos una entrada de calendario para ese día.`,
    tellUs: 'Una palabra suya puede cambiar la fecha, por ejemplo:',
    telling: {
      'worn-now-and-then': 'solo lo lleva de vez en cuando, lejos de golpes, calor y frío',
      'never-in-water': 'nunca está cerca del agua',
      'maker-says-otherwise': 'el folleto del fabricante dice otra cosa',
      'done-elsewhere': 'se hizo en otro lugar, y cuándo',
      sold: 'lo ha vendido o regalado',
      stored: 'está guardado y no se lleva',
    },
    tellUsByLink: 'Díganoslo aquí, sin cuenta',
    tellUsByReply: 'Basta una respuesta a esta carta o una llamada, y corregiremos nuestro libro.',
    deferring:
      'Estas fechas siguen las indicaciones del fabricante cuando las tenemos y, si no, la práctica habitual de los talleres. Son una recomendación, no un dictamen sobre su reloj. La ley de su país, las instrucciones del fabricante y el criterio de un relojero cualificado van primero.',
    deferringWater:
      'La resistencia al agua se prueba en un día y a una presión. No es permanente; las juntas envejecen, y el calor, el jabón, los golpes y abrir la caja la acortan.',
    stopByLink: 'Menos cartas nuestras, o ninguna',
    stopByReply: 'Si prefiere menos cartas nuestras, o ninguna, responda con una palabra y dejamos de escribir.',
    contact: ({ list }) => `Nos encuentra así: ${list}.`,
    regards: 'Con un cordial saludo',

    calendarSummary: ({ centre, watch }) => `Llevar ${watch} a ${centre}`,
  },

  page: {
    title: 'Sus relojes con nosotros',
    letters: 'Nuestras cartas',
    lettersIntro: 'Elija sobre qué podemos escribirle.',
    choice: {
      'complete-service': 'Revisión completa',
      'water-check': 'Prueba de resistencia al agua',
      'cell-change': 'Cambio de la pila',
    },
    writeToMe: 'escríbanme',
    doNotWrite: 'no escribir',
    stopAll: 'No recibir más estas cartas',
    save: 'Guardar mi elección',
    sold: 'Lo he vendido o regalado.',
    soldButton: 'Ya no es mío',
    doneElsewhere: 'Se hizo en otro lugar.',
    doneWhat: {
      'complete-service': 'Revisión completa',
      'water-check': 'Prueba de resistencia al agua',
      'cell-change': 'Cambio de la pila',
    },
    doneOn: '¿Qué día?',
    doneButton: 'Está hecho',
    neverInWater: 'Nunca lo llevo en el agua.',
    neverInWaterButton: 'Nunca en el agua',
    nowAndThen: 'Solo lo llevo de vez en cuando, lejos de golpes, calor y frío.',
    nowAndThenButton: 'Solo de vez en cuando',
    proposeDay: 'Me gustaría venir el:',
    proposeButton: 'Proponer este día',
    proposedNote: 'Le responderemos si el día conviene.',
    thanks: 'Gracias',
    stopped: 'Ya no le enviaremos estas cartas.',
    saved: 'Su elección está en nuestro libro.',
    soldThanks: 'Hemos anotado que el reloj ya no es suyo y no le escribiremos más sobre él.',
    doneThanks: 'Lo hemos anotado como nos dijo y hemos calculado de nuevo la fecha.',
    wearThanks: 'Lo hemos anotado como nos dijo y hemos calculado de nuevo la fecha.',
    proposedThanks: (day) => `Propone el ${day}. Le responderemos si conviene.`,
    dayMissing: 'Por favor, indique un día que exista.',
    dayInFuture: 'Ese día aún no ha llegado.',
    dayInPast: 'Por favor, elija un día a partir de mañana.',
    dayTooFar: 'Por favor, elija un día dentro del próximo año.',
    back: 'Volver',
    notFoundTitle: 'No encontrado',
    notFound: 'Este enlace no es válido, o ya no lo es. Por favor, responda a nuestra carta o llámenos.',
    tooMany: 'Demasiados intentos. Por favor, espere un minuto.',
    notNow: 'En este momento no es posible. Por favor, inténtelo de nuevo en unos minutos.',
    noWatch: 'Ahora mismo no hay ningún reloj a su nombre en nuestro libro.',
  },
}
