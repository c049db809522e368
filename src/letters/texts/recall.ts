import type { Language } from './sentences.ts'

/** What was called back: a cell, a gasket, or another part. */
export type RecalledWhat = 'cell' | 'gasket' | 'part'

type PieceTexts = {
  subject: string
  fitted: string
  possible: string
  come: string
  /** what not to do until then */
  until: string
}

/** What a recall letter says of its own; the rest it shares with every letter. */
export type RecallTexts = { writer: (centre: string) => string } & Readonly<Record<RecalledWhat, PieceTexts>>

export const recallTexts: Readonly<Record<Language, RecallTexts>> = {
  en: {
    writer: (centre) =>
      `This is ${centre}. A supplier has called back a batch of pieces for watches, and our book says that this concerns you.`,
    cell: {
      subject: 'A cell in your watch was called back by its supplier',
      fitted: 'The cell that we fitted in this watch comes from that batch.',
      possible:
        'We fitted a cell in this watch while that batch was in use; our book does not say which batch it came from. Please let us look.',
      come: 'Please bring the watch to us when it suits you. We change the cell free of charge.',
      until: 'Please do not open the watch yourself. If it leaks or grows warm, take it off and put it aside.',
    },
    gasket: {
      subject: 'A gasket in your watch was called back by its supplier',
      fitted: 'A gasket that we fitted in this watch comes from that batch.',
      possible:
        'We fitted gaskets in this watch while that batch was in use; our book does not say which batch they came from. Please let us look.',
      come: 'Please bring the watch to us when it suits you. We change the gasket and test the watch free of charge.',
      until: 'Please keep the watch away from water and damp until then, and do not open it yourself.',
    },
    part: {
      subject: 'A part in your watch was called back by its supplier',
      fitted: 'A part that we fitted in this watch comes from that batch.',
      possible:
        'We worked on this watch while that batch was in use; our book does not say which batch the part came from. Please let us look.',
      come: 'Please bring the watch to us when it suits you. We change the part free of charge.',
      until: 'Please do not open the watch yourself.',
    },
  },
  de: {
    writer: (centre) =>
      `Hier schreibt ${centre}. Ein Lieferant hat eine Charge von Teilen für Uhren zurückgerufen, und nach unserem Buch betrifft das Sie.`,
    cell: {
      subject: 'Eine Batterie in Ihrer Uhr wurde vom Lieferanten zurückgerufen',
      fitted: 'Die Batterie, die wir in diese Uhr eingesetzt haben, stammt aus dieser Charge.',
      possible:
        'Wir haben in diese Uhr eine Batterie eingesetzt, als diese Charge in Gebrauch war; aus welcher Charge sie stammt, sagt unser Buch nicht. Bitte lassen Sie uns nachsehen.',
      come: 'Bitte bringen Sie uns die Uhr, wenn es Ihnen passt. Wir wechseln die Batterie kostenlos.',
      until: 'Bitte öffnen Sie die Uhr nicht selbst. Wenn sie ausläuft oder warm wird, legen Sie sie ab und beiseite.',
    },
    gasket: {
      subject: 'Eine Dichtung in Ihrer Uhr wurde vom Lieferanten zurückgerufen',
      fitted: 'Eine Dichtung, die wir in diese Uhr eingesetzt haben, stammt aus dieser Charge.',
      possible:
        'Wir haben in diese Uhr Dichtungen eingesetzt, als diese Charge in Gebrauch war; aus welcher Charge sie stammen, sagt unser Buch nicht. Bitte lassen Sie uns nachsehen.',
      come: 'Bitte bringen Sie uns die Uhr, wenn es Ihnen passt. Wir wechseln die Dichtung und prüfen die Uhr kostenlos.',
      until: 'Bitte halten Sie die Uhr bis dahin von Wasser und Feuchtigkeit fern und öffnen Sie sie nicht selbst.',
    },
    part: {
      subject: 'Ein Teil in Ihrer Uhr wurde vom Lieferanten zurückgerufen',
      fitted: 'Ein Teil, das wir in diese Uhr eingesetzt haben, stammt aus dieser Charge.',
      possible:
        'Wir haben an dieser Uhr gearbeitet, als diese Charge in Gebrauch war; aus welcher Charge das Teil stammt, sagt unser Buch nicht. Bitte lassen Sie uns nachsehen.',
      come: 'Bitte bringen Sie uns die Uhr, wenn es Ihnen passt. Wir wechseln das Teil kostenlos.',
      until: 'Bitte öffnen Sie die Uhr nicht selbst.',
    },
  },
  fr: {
    writer: (centre) =>
      `Ici ${centre}. Un fournisseur a rappelé un lot de pièces de montre et, d’après notre livre, cela vous concerne.`,
    cell: {
      subject: 'Une pile de votre montre est rappelée par son fournisseur',
      fitted: 'La pile que nous avons posée dans cette montre vient de ce lot.',
      possible:
        'Nous avons posé une pile dans cette montre pendant que ce lot était en usage ; notre livre ne dit pas de quel lot elle vient. Laissez-nous regarder, s’il vous plaît.',
      come: 'Apportez-nous la montre quand cela vous convient. Nous changeons la pile gratuitement.',
      until:
        'N’ouvrez pas la montre vous-même, s’il vous plaît. Si elle coule ou chauffe, retirez-la et mettez-la de côté.',
    },
    gasket: {
      subject: 'Un joint de votre montre est rappelé par son fournisseur',
      fitted: 'Un joint que nous avons posé dans cette montre vient de ce lot.',
      possible:
        'Nous avons posé des joints dans cette montre pendant que ce lot était en usage ; notre livre ne dit pas de quel lot ils viennent. Laissez-nous regarder, s’il vous plaît.',
      come: 'Apportez-nous la montre quand cela vous convient. Nous changeons le joint et contrôlons la montre gratuitement.',
      until: 'D’ici là, gardez la montre loin de l’eau et de l’humidité, et ne l’ouvrez pas vous-même.',
    },
    part: {
      subject: 'Une pièce de votre montre est rappelée par son fournisseur',
      fitted: 'Une pièce que nous avons posée dans cette montre vient de ce lot.',
      possible:
        'Nous avons travaillé sur cette montre pendant que ce lot était en usage ; notre livre ne dit pas de quel lot vient la pièce. Laissez-nous regarder, s’il vous plaît.',
      come: 'Apportez-nous la montre quand cela vous convient. Nous changeons la pièce gratuitement.',
      until: 'N’ouvrez pas la montre vous-même, s’il vous plaît.',
    },
  },
  es: {
    writer: (centre) =>
      `Le escribe ${centre}. Un proveedor ha retirado un lote de piezas de reloj y, según nuestro libro, esto le afecta.`,
    cell: {
      subject: 'El proveedor ha retirado una pila de su reloj',
      fitted: 'La pila que pusimos en este reloj es de ese lote.',
      possible:
        'Pusimos una pila en este reloj mientras ese lote estaba en uso; nuestro libro no dice de qué lote es. Déjenos mirarlo, por favor.',
      come: 'Tráiganos el reloj cuando le convenga. Cambiamos la pila gratis.',
      until: 'Por favor, no abra el reloj. Si tiene una fuga o se calienta, quíteselo y déjelo aparte.',
    },
    gasket: {
      subject: 'El proveedor ha retirado una junta de su reloj',
      fitted: 'Una junta que pusimos en este reloj es de ese lote.',
      possible:
        'Pusimos juntas en este reloj mientras ese lote estaba en uso; nuestro libro no dice de qué lote son. Déjenos mirarlo, por favor.',
      come: 'Tráiganos el reloj cuando le convenga. Cambiamos la junta y comprobamos el reloj gratis.',
      until: 'Hasta entonces, mantenga el reloj lejos del agua y la humedad y, por favor, no lo abra.',
    },
    part: {
      subject: 'El proveedor ha retirado una pieza de su reloj',
      fitted: 'Una pieza que pusimos en este reloj es de ese lote.',
      possible:
        'Trabajamos en este reloj mientras ese lote estaba en uso; nuestro libro no dice de qué lote es la pieza. Déjenos mirarlo, por favor.',
      come: 'Tráiganos el reloj cuando le convenga. Cambiamos la pieza gratis.',
      until: 'Por favor, no abra el reloj.',
    },
  },
  pt: {
    writer: (centre) =>
      `Escreve-lhe ${centre}. Um fornecedor recolheu um lote de peças de relógio e, segundo o nosso livro, isto diz-lhe respeito.`,
    cell: {
      subject: 'O fornecedor recolheu uma pilha do seu relógio',
      fitted: 'A pilha que pusemos neste relógio é desse lote.',
      possible:
        'Pusemos uma pilha neste relógio enquanto esse lote estava em uso; o nosso livro não diz de que lote é. Deixe-nos ver, por favor.',
      come: 'Traga-nos o relógio quando lhe convier. Mudamos a pilha sem custo.',
      until: 'Por favor, não abra o relógio. Se verter ou aquecer, tire-o e ponha-o de parte.',
    },
    gasket: {
      subject: 'O fornecedor recolheu uma junta do seu relógio',
      fitted: 'Uma junta que pusemos neste relógio é desse lote.',
      possible:
        'Pusemos juntas neste relógio enquanto esse lote estava em uso; o nosso livro não diz de que lote são. Deixe-nos ver, por favor.',
      come: 'Traga-nos o relógio quando lhe convier. Mudamos a junta e verificamos o relógio sem custo.',
      until: 'Até lá, mantenha o relógio longe da água e da humidade e, por favor, não o abra.',
    },
    part: {
      subject: 'O fornecedor recolheu uma peça do seu relógio',
      fitted: 'Uma peça que pusemos neste relógio é desse lote.',
      possible:
        'Trabalhámos neste relógio enquanto esse lote estava em uso; o nosso livro não diz de que lote é a peça. Deixe-nos ver, por favor.',
      come: 'Traga-nos o relógio quando lhe convier. Mudamos a peça sem custo.',
      until: 'Por favor, não abra o relógio.',
    },
  },
}
