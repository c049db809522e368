import type { Language } from './sentences.ts'

/** What a recall letter says of its own; the rest it shares with every letter. */
export type RecallTexts = {
  subject: string
  writer: (centre: string) => string
  fitted: string
  possible: string
  come: string
  doNotOpen: string
}

export const recallTexts: Readonly<Record<Language, RecallTexts>> = {
  en: {
    subject: 'A cell in your watch was called back by its supplier',
    writer: (centre) =>
      `This is ${centre}. A supplier has called back a batch of watch cells, and our book says that this concerns you.`,
    fitted: 'The cell that we fitted in this watch comes from that batch.',
    possible:
      'We fitted a cell in this watch while that batch was in use; our book does not say which batch it came from. Please let us look.',
    come: 'Please bring the watch to us when it suits you. We change the cell free of charge while you wait.',
    doNotOpen: 'Please do not open the watch yourself. If it leaks or grows warm, take it off and put it aside.',
  },
  de: {
    subject: 'Eine Batterie in Ihrer Uhr wurde vom Lieferanten zurückgerufen',
    writer: (centre) =>
      `Hier schreibt ${centre}. Ein Lieferant hat eine Charge von Uhrenbatterien zurückgerufen, und nach unserem Buch betrifft das Sie.`,
    fitted: 'Die Batterie, die wir in diese Uhr eingesetzt haben, stammt aus dieser Charge.',
    possible:
      'Wir haben in diese Uhr eine Batterie eingesetzt, als diese Charge in Gebrauch war; aus welcher Charge sie stammt, sagt unser Buch nicht. Bitte lassen Sie uns nachsehen.',
    come: 'Bitte bringen Sie uns die Uhr, wenn es Ihnen passt. Wir wechseln die Batterie kostenlos, während Sie warten.',
    doNotOpen:
      'Bitte öffnen Sie die Uhr nicht selbst. Wenn sie ausläuft oder warm wird, legen Sie sie ab und beiseite.',
  },
  fr: {
    subject: 'Une pile de votre montre est rappelée par son fournisseur',
    writer: (centre) =>
      `Ici ${centre}. Un fournisseur a rappelé un lot de piles de montre et, d’après notre livre, cela vous concerne.`,
    fitted: 'La pile que nous avons posée dans cette montre vient de ce lot.',
    possible:
      'Nous avons posé une pile dans cette montre pendant que ce lot était en usage ; notre livre ne dit pas de quel lot elle vient. Laissez-nous regarder, s’il vous plaît.',
    come: 'Apportez-nous la montre quand cela vous convient. Nous changeons la pile gratuitement pendant que vous attendez.',
    doNotOpen:
      'N’ouvrez pas la montre vous-même, s’il vous plaît. Si elle coule ou chauffe, retirez-la et mettez-la de côté.',
  },
  es: {
    subject: 'El proveedor ha retirado una pila de su reloj',
    writer: (centre) =>
      `Le escribe ${centre}. Un proveedor ha retirado un lote de pilas de reloj y, según nuestro libro, esto le afecta.`,
    fitted: 'La pila que pusimos en este reloj es de ese lote.',
    possible:
      'Pusimos una pila en este reloj mientras ese lote estaba en uso; nuestro libro no dice de qué lote es. Déjenos mirarlo, por favor.',
    come: 'Tráiganos el reloj cuando le convenga. Cambiamos la pila gratis mientras espera.',
    doNotOpen: 'Por favor, no abra el reloj. Si tiene una fuga o se calienta, quíteselo y déjelo aparte.',
  },
  pt: {
    subject: 'O fornecedor recolheu uma pilha do seu relógio',
    writer: (centre) =>
      `Escreve-lhe ${centre}. Um fornecedor recolheu um lote de pilhas de relógio e, segundo o nosso livro, isto diz-lhe respeito.`,
    fitted: 'A pilha que pusemos neste relógio é desse lote.',
    possible:
      'Pusemos uma pilha neste relógio enquanto esse lote estava em uso; o nosso livro não diz de que lote é. Deixe-nos ver, por favor.',
    come: 'Traga-nos o relógio quando lhe convier. Mudamos a pilha sem custo enquanto espera.',
    doNotOpen: 'Por favor, não abra o relógio. Se verter ou aquecer, tire-o e ponha-o de parte.',
  },
}
