import type { Language } from './sentences.ts'

/** What the letter says of its own that tells an owner his watch can be collected; the rest it shares with every letter. */
export type ReadyTexts = {
  subject: (watch: string) => string
  subjectUndone: (watch: string) => string
  writer: (centre: string) => string
  ready: string
  /** the same, where somebody who did no work on it made the final check */
  readyChecked: string
  /** it goes back without the work */
  undone: string
  bring: (number: string) => string
  owed: (money: string) => string
  somebodyElse: string
  later: string
}

export const readyTexts: Readonly<Record<Language, ReadyTexts>> = {
  en: {
    subject: (watch) => `Your ${watch} is ready to collect`,
    subjectUndone: (watch) => `Your ${watch} can be collected`,
    writer: (centre) => `This is ${centre}, writing about a watch of yours that is with us.`,
    ready: 'The agreed work is done. The watch is ready for you.',
    readyChecked: 'The agreed work is done and was checked by a second person. The watch is ready for you.',
    undone: 'As settled with you, it goes back without the work. The watch is closed up and ready for you.',
    bring: (number) => `Please bring your slip. The number of the ticket is ${number}.`,
    owed: (money) => `There is ${money} to pay when you collect it.`,
    somebodyElse: 'If somebody else is to collect it, please tell us beforehand who that is.',
    later: 'If you cannot come for some time, a word from you is enough.',
  },
  de: {
    subject: (watch) => `Ihre ${watch} ist abholbereit`,
    subjectUndone: (watch) => `Ihre ${watch} kann abgeholt werden`,
    writer: (centre) => `Hier schreibt ${centre} wegen einer Uhr von Ihnen, die bei uns ist.`,
    ready: 'Die vereinbarte Arbeit ist getan. Die Uhr liegt für Sie bereit.',
    readyChecked:
      'Die vereinbarte Arbeit ist getan und wurde von einer zweiten Person geprüft. Die Uhr liegt für Sie bereit.',
    undone:
      'Wie mit Ihnen besprochen, geht sie ohne die Arbeit zurück. Die Uhr ist geschlossen und liegt für Sie bereit.',
    bring: (number) => `Bitte bringen Sie Ihren Abholschein mit. Die Nummer des Auftrags ist ${number}.`,
    owed: (money) => `Bei der Abholung sind ${money} zu zahlen.`,
    somebodyElse: 'Wenn jemand anders sie abholen soll, sagen Sie uns bitte vorher, wer das ist.',
    later: 'Wenn Sie länger nicht kommen können, genügt ein Wort von Ihnen.',
  },
  fr: {
    subject: (watch) => `Votre ${watch} vous attend`,
    subjectUndone: (watch) => `Votre ${watch} peut être retirée`,
    writer: (centre) => `Ici ${centre}, au sujet d’une montre à vous qui est chez nous.`,
    ready: 'Le travail convenu est fait. La montre est prête pour vous.',
    readyChecked: 'Le travail convenu est fait et une seconde personne l’a contrôlé. La montre est prête pour vous.',
    undone: 'Comme convenu avec vous, elle repart sans le travail. La montre est refermée et prête pour vous.',
    bring: (number) => `Apportez votre reçu, s’il vous plaît. Le numéro du dossier est ${number}.`,
    owed: (money) => `Il y a ${money} à payer au retrait.`,
    somebodyElse: 'Si quelqu’un d’autre vient la chercher, dites-nous d’avance de qui il s’agit.',
    later: 'Si vous ne pouvez pas venir avant quelque temps, un mot de vous suffit.',
  },
  es: {
    subject: (watch) => `Su ${watch} está listo para recoger`,
    subjectUndone: (watch) => `Puede recoger su ${watch}`,
    writer: (centre) => `Le escribe ${centre} por un reloj suyo que está con nosotros.`,
    ready: 'El trabajo acordado está hecho. El reloj está listo para usted.',
    readyChecked: 'El trabajo acordado está hecho y lo revisó una segunda persona. El reloj está listo para usted.',
    undone: 'Como quedó hablado con usted, vuelve sin el trabajo. El reloj está cerrado y listo para usted.',
    bring: (number) => `Traiga su resguardo, por favor. El número de la orden es ${number}.`,
    owed: (money) => `Al recogerlo hay que pagar ${money}.`,
    somebodyElse: 'Si va a recogerlo otra persona, díganos antes quién es.',
    later: 'Si tarda en poder venir, basta con que nos avise.',
  },
  pt: {
    subject: (watch) => `O seu ${watch} está pronto`,
    subjectUndone: (watch) => `Pode levantar o seu ${watch}`,
    writer: (centre) => `Escreve-lhe ${centre} sobre um relógio seu que está connosco.`,
    ready: 'O trabalho combinado está feito. O relógio está pronto para si.',
    readyChecked:
      'O trabalho combinado está feito e foi verificado por uma segunda pessoa. O relógio está pronto para si.',
    undone: 'Como ficou combinado consigo, volta sem o trabalho. O relógio está fechado e pronto para si.',
    bring: (number) => `Traga o seu talão, por favor. O número da ficha é ${number}.`,
    owed: (money) => `Ao levantá-lo há ${money} a pagar.`,
    somebodyElse: 'Se for outra pessoa a levantá-lo, diga-nos antes quem é.',
    later: 'Se demorar a poder vir, basta uma palavra sua.',
  },
}
