import { byPrecision, counted, dayFormats, spanIn } from './formats.ts'
import type { Texts } from './sentences.ts'

const locale = 'pt-PT'
const days = dayFormats(locale)
const units = { minutes: 'minute', days: 'day', weeks: 'week' } as const

export const pt: Texts = {
  locale,
  day: days.full,
  when: (day) =>
    byPrecision(day, { year: (y) => `em ${y}`, month: (m) => `em ${days.month(m)}`, day: (d) => `em ${days.full(d)}` }),
  span: (months) => spanIn(locale, months),
  takes: (from, to, unit) =>
    from === to ? counted(locale, units[unit], to) : `${from} a ${counted(locale, units[unit], to)}`,

  letter: {
    subjectOne: ({ what, watch }) => `O seu ${watch}: ${what}`,
    subjectSeveral: (count) => `Sobre os seus ${count} relógios`,
    subjectAbout: (watch) => `Sobre o seu ${watch}`,
    greeting: (name) => `Bom dia, ${name},`,
    writer: ({ centre, count }) =>
      count === 1
        ? `Escreve-lhe ${centre}, por causa de um relógio seu.`
        : `Escreve-lhe ${centre}, por causa de ${count} relógios seus.`,
    numberEnding: (digits) => `número que termina em ${digits}`,

    the: {
      'complete-service': 'a revisão completa',
      'water-check': 'o teste de resistência à água',
      'cell-change': 'a troca da pilha',
      seals: 'a troca das juntas',
    },
    forThe: {
      'complete-service': 'a revisão completa',
      'water-check': 'o teste de resistência à água',
      'cell-change': 'a troca da pilha',
      seals: 'a troca das juntas',
    },
    what: {
      'complete-service': 'revisão completa',
      'water-check': 'teste de resistência à água',
      'cell-change': 'troca da pilha',
      seals: 'juntas novas',
    },

    lastDone: {
      'own-record': {
        'complete-service': (when) => `A última revisão completa foi feita aqui ${when}.`,
        'water-check': (when) => `A resistência à água foi testada aqui pela última vez ${when}.`,
        'cell-change': (when) => `A pilha foi trocada aqui pela última vez ${when}.`,
        seals: (when) => `As juntas foram trocadas aqui pela última vez ${when}.`,
      },
      paper: {
        'complete-service': (when) => `Segundo um papel que vimos, a última revisão completa foi feita ${when}.`,
        'water-check': (when) =>
          `Segundo um papel que vimos, a resistência à água foi testada pela última vez ${when}.`,
        'cell-change': (when) => `Segundo um papel que vimos, a pilha foi trocada pela última vez ${when}.`,
        seals: (when) => `Segundo um papel que vimos, as juntas foram trocadas pela última vez ${when}.`,
      },
      'owner-word': {
        'complete-service': (when) => `Segundo nos disseram, a última revisão completa foi feita ${when}.`,
        'water-check': (when) => `Segundo nos disseram, a resistência à água foi testada pela última vez ${when}.`,
        'cell-change': (when) => `Segundo nos disseram, a pilha foi trocada pela última vez ${when}.`,
        seals: (when) => `Segundo nos disseram, as juntas foram trocadas pela última vez ${when}.`,
      },
    },
    noRecord: {
      'complete-service': 'No nosso livro não consta nenhuma revisão completa.',
      'water-check': 'No nosso livro não consta nenhum teste de resistência à água.',
      'cell-change': 'No nosso livro não consta quando a pilha foi trocada pela última vez.',
      seals: 'No nosso livro não consta quando as juntas foram trocadas pela última vez.',
    },
    soldNew: (when) => `Tanto quanto sabemos, foi vendido novo ${when}.`,
    madeThen: (when) => `Tanto quanto sabemos, foi fabricado ${when}.`,

    due: {
      'coming-up': {
        none: ({ the, day }) => `Segundo o nosso livro, a data para ${the} é ${day}.`,
        one: ({ the, day }) => `Já lhe escrevemos sobre isto: a data para ${the} é ${day}.`,
        more: ({ the, day }) => `Já recebeu cartas nossas sobre isto; em poucas palavras, a data para ${the} é ${day}.`,
      },
      due: {
        none: ({ the, day }) => `Segundo o nosso livro, chegou a altura para ${the}; a data é ${day}.`,
        one: ({ the, day }) => `Já lhe escrevemos sobre isto: chegou a altura para ${the}; a data é ${day}.`,
        more: ({ the, day }) =>
          `Já recebeu cartas nossas sobre isto; em poucas palavras, chegou a altura para ${the}; a data é ${day}.`,
      },
      overdue: {
        none: ({ the, day }) => `Segundo o nosso livro, a data para ${the} era ${day}.`,
        one: ({ the, day }) =>
          `Já lhe escrevemos sobre isto: a data para ${the} era ${day}, e no nosso livro continua em aberto.`,
        more: ({ the, day }) =>
          `Já recebeu cartas nossas sobre isto: a data para ${the} era ${day}, e no nosso livro continua em aberto. Não queremos insistir; a nota fica no nosso livro e pode vir quando lhe convier.`,
      },
      'to-be-assessed': {
        none: ({ the }) =>
          `Sabemos pouco demais da sua história para dizer qual é a data para ${the}, e gostaríamos de o ver uma vez. Esta é a única carta sobre isto.`,
        one: ({ the }) =>
          `Continuamos a saber pouco demais da sua história para dizer qual é a data para ${the}. Basta uma palavra sua ou um breve olhar ao relógio.`,
        more: ({ the }) =>
          `Continuamos a saber pouco demais da sua história para dizer qual é a data para ${the}. Basta uma palavra sua ou um breve olhar ao relógio.`,
      },
    },
    interval: {
      maker: (span) => `O fabricante indica para este relógio: ${span}.`,
      note: (span) => `Na última visita, o nosso relojoeiro anotou que este relógio deveria voltar ao fim de ${span}.`,
      quartz: (span) => `Num relógio de quartzo o habitual entre duas revisões é: ${span}.`,
      'high-beat': (span) => `A sua máquina bate depressa, e numa assim o habitual entre duas revisões é: ${span}.`,
      'rarely-worn': (span) => `Como só o usa de vez em quando, longe de choques, calor e frio, contamos ${span}.`,
      exposed: (span) => `Como está exposto a choques, calor ou frio, contamos ${span}.`,
      usual: (span) => `O habitual é: ${span}.`,
      'hard-use': (span) => `Como está muitas vezes na água, ou em sal, cloro ou água quente, contamos ${span}.`,
      'now-and-then': (span) => `Como está na água de vez em quando, contamos ${span}.`,
      'frequency-unknown': (span) => `Como é usado na água e não sabemos com que frequência, contamos ${span}.`,
      'use-unknown': (span) => `Não sabemos se alguma vez está na água, e contamos ${span}; se nunca está, diga-nos.`,
      'water-use': (span) => `Num relógio usado na água contamos ${span}.`,
      'best-before': () => 'A pilha que tem dentro traz uma data própria do fabricante, e essa data chega primeiro.',
      consumption: () => 'Segundo a corrente que medimos, a pilha que tem dentro não dura mais do que isso.',
    },
    event: {
      trouble: {
        none: ({ when }) =>
          `Algo não está bem, segundo foi anotado no nosso livro${when ? ` ${when}` : ''}; convém ser visto.`,
        one: () => 'Escrevemos-lhe que algo não está bem; no nosso livro continua em aberto.',
        more: () =>
          'Já recebeu cartas nossas porque algo não está bem; continua em aberto, e pode vir quando lhe convier.',
      },
      'opened-since-test': {
        none: ({ when }) =>
          `Foi aberto${when ? ` ${when}` : ''} e, tanto quanto sabemos, não foi testado desde então; ninguém pode dizer se ainda mantém a água fora.`,
        one: () =>
          'Escrevemos-lhe que foi aberto e, tanto quanto sabemos, não foi testado desde então; continua em aberto.',
        more: () =>
          'Já recebeu cartas nossas porque foi aberto e, tanto quanto sabemos, não foi testado desde então; pode vir quando lhe convier.',
      },
      'not-resistant': {
        none: ({ when }) =>
          `No último teste ou exame${when ? ` (${when})` : ''} não resistia à água, e segundo o nosso livro é usado na água.`,
        one: () => 'Escrevemos-lhe que por agora não resiste à água; continua em aberto.',
        more: () => 'Já recebeu cartas nossas porque por agora não resiste à água; pode vir quando lhe convier.',
      },
      leaking: {
        none: () =>
          'Segundo nos disseram ou vimos, a pilha está a verter. Por favor, traga o relógio em breve: o que sai de uma pilha estraga a máquina.',
        one: () =>
          'Escrevemos-lhe por causa da pilha que verte; segundo o nosso livro continua dentro. O que sai de uma pilha estraga a máquina.',
        more: () =>
          'Já recebeu cartas nossas por causa da pilha que verte; segundo o nosso livro continua dentro. Pode vir sem marcação.',
      },
      spent: {
        none: () =>
          'Segundo nos disseram, o relógio parou porque a pilha está gasta. Por favor, mande tirar ou trocar a pilha em breve.',
        one: () => 'Escrevemos-lhe por causa da pilha gasta; segundo o nosso livro continua dentro.',
        more: () =>
          'Já recebeu cartas nossas por causa da pilha gasta; segundo o nosso livro continua dentro. Pode vir sem marcação.',
      },
      'end-of-life': {
        none: () => 'O relógio dá o sinal com que avisa que a pilha está quase gasta.',
        one: () =>
          'Escrevemos-lhe que o relógio dá o sinal de uma pilha quase gasta; segundo o nosso livro continua dentro.',
        more: () =>
          'Já recebeu cartas nossas porque o relógio dá o sinal de uma pilha quase gasta. Pode vir sem marcação.',
      },
    },
    unsure:
      'O nosso livro não está seguro quanto a este relógio: duas notas não batem certo, e tomámos a mais prudente. Se tem um recibo ou se lembra melhor, diga-nos e corrigimos.',
    why: {
      'service-mechanical':
        'O óleo de uma máquina seca com os anos, quer o relógio seja usado, quer não. As peças desgastam-se então sem que se note, e o que teria sido uma revisão torna-se uma reparação.',
      'service-quartz':
        'Uma máquina de quartzo também tem rodas e óleo, e o óleo seca com os anos. Precisa então de mais corrente, e há peças gastas a trocar onde teria bastado uma limpeza.',
      'water-check':
        'As juntas endurecem e desgastam-se, e um teste vale só para o seu dia. A água que entra faz estragos antes de se ver sob o vidro.',
      'cell-change':
        'Uma pilha destas troca-se a tempo, mesmo que o relógio ainda ande. Uma pilha gasta que fica dentro pode verter, e reparar o que ela estraga custa muitas vezes a troca.',
      seals: 'As juntas endurecem com os anos e deixam de fechar. Trocam-se quando a caixa é aberta de qualquer modo.',
    },
    runsWell:
      'É bem possível que o relógio ande perfeitamente - é precisamente por isso que escrevemos: antes não dá nenhum sinal.',

    price: ({ money, until, takes }) =>
      `Como orientação custa ${money} (até ${until}) e demora cerca de ${takes}. Dizemos-lhe o preço exato antes de começar.`,
    noPrice: 'Dizemos-lhe o preço e o tempo antes de começar, e não fazemos nada sem o seu sim.',
    folded: ({ list }) => `A mesma visita inclui também: ${list}. Uma visita, um preço.`,

    movedLater: ({ the, told, day }) =>
      `Uma carta anterior indicava ${told} para ${the}. Essa data passou para ${day}; não tenha em conta a carta anterior.`,
    guarantee: ({ lastDay }) =>
      `A nossa garantia sobre o último trabalho vai até ${lastDay}, inclusive. Se algo não está bem, diga-nos agora.`,
    caution: {
      'no-water-until-tested': 'Por favor, nada de água até ser testado.',
      'keep-dry':
        'Por favor, mantenha este relógio seco: pelo que sabemos não foi feito para a água, ou já não a mantém fora.',
      radium:
        'Este relógio pode ter tinta luminosa radioativa. Por favor, não o abra nem durma ao lado dele; pergunte-nos. Só será trabalhado onde as regras locais e uma oficina licenciada o permitam.',
      tritium: 'As marcas luminosas perdem cerca de metade em doze anos; é a idade, não um defeito.',
      'cell-and-children':
        'Mantenha as pilhas longe das crianças. Se alguém engoliu uma, ligue logo para a emergência ou para o centro antivenenos.',
      'leaking-cell': 'Por favor, não abra o relógio: o que sai de uma pilha queima a pele e os olhos.',
      rechargeable: 'Por favor, não o deixe muito tempo descarregado e no escuro; o que diz o fabricante vem primeiro.',
    },

    comeBy: (day) =>
      `Por favor, passe por cá ou envie-o até ${day}. Segue em anexo uma entrada de calendário para esse dia.`,
    tellUs: 'Uma palavra sua pode mudar a data, por exemplo:',
    telling: {
      'worn-now-and-then': 'só o usa de vez em quando, longe de choques, calor e frio',
      'never-in-water': 'nunca está perto da água',
      'maker-says-otherwise': 'o folheto do fabricante diz outra coisa',
      'done-elsewhere': 'foi feito noutro lugar, e quando',
      sold: 'vendeu-o ou deu-o a alguém',
      stored: 'está guardado e não é usado',
    },
    tellUsByLink: 'Diga-nos aqui, sem conta',
    tellUsByReply: 'Basta uma resposta a esta carta ou uma chamada, e corrigimos o nosso livro.',
    deferring:
      'Estas datas seguem as indicações do fabricante quando as temos e, se não, a prática habitual das oficinas. São uma recomendação, não um parecer sobre o seu relógio. A lei do seu país, as instruções do fabricante e o juízo de um relojoeiro qualificado vêm primeiro.',
    deferringWater:
      'A resistência à água é testada num dia e a uma pressão. Não é permanente; as juntas envelhecem, e o calor, o sabão, os choques e a abertura da caixa encurtam-na.',
    stopByLink: 'Menos cartas nossas, ou nenhuma',
    stopByReply: 'Se prefere menos cartas nossas, ou nenhuma, responda com uma palavra e paramos.',
    contact: ({ list }) => `Contacte-nos assim: ${list}.`,
    regards: 'Com os melhores cumprimentos',

    calendarSummary: ({ centre, watch }) => `Levar ${watch} a ${centre}`,
  },

  page: {
    title: 'Os seus relógios connosco',
    letters: 'As nossas cartas',
    lettersIntro: 'Escolha sobre o que lhe podemos escrever.',
    choice: {
      'complete-service': 'Revisão completa',
      'water-check': 'Teste de resistência à água',
      'cell-change': 'Troca da pilha',
    },
    writeToMe: 'escrevam-me',
    doNotWrite: 'não escrever',
    stopAll: 'Não receber mais estas cartas',
    save: 'Guardar a minha escolha',
    sold: 'Vendi-o ou dei-o a alguém.',
    soldButton: 'Já não é meu',
    doneElsewhere: 'Foi feito noutro lugar.',
    doneWhat: {
      'complete-service': 'Revisão completa',
      'water-check': 'Teste de resistência à água',
      'cell-change': 'Troca da pilha',
    },
    doneOn: 'Em que dia?',
    doneButton: 'Está feito',
    neverInWater: 'Nunca o uso na água.',
    neverInWaterButton: 'Nunca na água',
    nowAndThen: 'Só o uso de vez em quando, longe de choques, calor e frio.',
    nowAndThenButton: 'Só de vez em quando',
    proposeDay: 'Gostaria de vir em:',
    proposeButton: 'Propor este dia',
    proposedNote: 'Respondemos-lhe se o dia convém.',
    thanks: 'Obrigado',
    stopped: 'Já não lhe enviaremos estas cartas.',
    saved: 'A sua escolha está no nosso livro.',
    soldThanks: 'Anotámos que o relógio já não é seu e não lhe escreveremos mais sobre ele.',
    doneThanks: 'Anotámos como nos disse e calculámos a data de novo.',
    wearThanks: 'Anotámos como nos disse e calculámos a data de novo.',
    proposedThanks: (day) => `Propõe ${day}. Respondemos-lhe se convém.`,
    dayMissing: 'Por favor, indique um dia que exista.',
    dayInFuture: 'Esse dia ainda não chegou.',
    dayInPast: 'Por favor, escolha um dia a partir de amanhã.',
    dayTooFar: 'Por favor, escolha um dia dentro do próximo ano.',
    back: 'Voltar',
    notFoundTitle: 'Não encontrado',
    notFound: 'Esta ligação não é válida, ou já não o é. Por favor, responda à nossa carta ou telefone-nos.',
    tooMany: 'Demasiadas tentativas. Por favor, espere um minuto.',
    notNow: 'Neste momento não é possível. Por favor, tente de novo dentro de alguns minutos.',
    noWatch: 'De momento não há nenhum relógio em seu nome no nosso livro.',
  },
}
