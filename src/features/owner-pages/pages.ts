import { createHash } from 'node:crypto'
import { addDays, addMonths, type Day } from '../../domain/day.ts'
import type { ChoiceKind } from '../../domain/notices/types.ts'
import { escaped } from '../../letters/layout.ts'
import { texts } from '../../letters/texts/index.ts'
import type { Language } from '../../letters/texts/sentences.ts'
import { choiceKinds } from './answers.ts'
import type { Bearer } from './links.ts'

/** Small pages for a telephone: no script, nothing fetched, forms that post to the very address they came from. */

const style = `
*{box-sizing:border-box}body{margin:0;background:#f6f4ef;color:#1c1b19;font:17px/1.5 system-ui,sans-serif}
main{max-width:34rem;margin:0 auto;padding:1rem 1rem 3rem;overflow-wrap:anywhere}h1{font-size:1.4rem;line-height:1.25}h2{font-size:1.1rem;margin:2rem 0 .5rem}
form,section{background:#fff;border:1px solid #ddd8cc;border-radius:.6rem;padding:.9rem;margin:.7rem 0}
fieldset{border:0;margin:0 0 .8rem;padding:0}legend{font-weight:600;padding:0}label{display:block;padding:.35rem 0}
input[type=radio]{width:1.2rem;height:1.2rem;vertical-align:-.2rem;margin-right:.5rem}
input[type=date],select{font:inherit;width:100%;min-height:2.8rem;padding:.4rem;border:1px solid #8b8579;border-radius:.4rem;background:#fff;color:inherit}
button{font:inherit;width:100%;min-height:3rem;border:0;border-radius:.5rem;background:#22485f;color:#fff;margin-top:.6rem;padding:.5rem .8rem}
button.plain{background:#fff;color:#22485f;border:2px solid #22485f}p{margin:.4rem 0}.fault{color:#9b1c1c;font-weight:600}.quiet{color:#5d594f;font-size:.95rem}
@media(prefers-color-scheme:dark){body{background:#191a1b;color:#ece9e2}form,section{background:#232527;border-color:#3c3f42}
input[type=date],select{background:#191a1b;border-color:#7c7f83}button{background:#8fbcd6;color:#10222c}button.plain{background:none;color:#a8d0e6;border-color:#a8d0e6}
.fault{color:#ff9d94}.quiet{color:#b3aea3}}`

export const stylePolicy = [
  "default-src 'none'",
  `style-src 'sha256-${createHash('sha256').update(style).digest('base64')}'`,
  "form-action 'self'",
  "base-uri 'none'",
  "frame-ancestors 'none'",
].join('; ')

function page(language: Language, title: string, body: string): string {
  return [
    `<!DOCTYPE html><html lang="${language}"><head><meta charset="utf-8">`,
    '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="robots" content="noindex">',
    `<title>${escaped(title)}</title><style>${style}</style></head>`,
    `<body><main><h1>${escaped(title)}</h1>${body}</main></body></html>`,
  ].join('')
}

type House = { centre: string; today: Day }

const hidden = (name: string, value: string) => `<input type="hidden" name="${name}" value="${escaped(value)}">`

export function lettersPage(bearer: Bearer, choices: Record<ChoiceKind, string>, house: House): string {
  const t = texts[bearer.language].page
  const radio = (kind: ChoiceKind, value: 'yes' | 'no', words: string) =>
    `<label><input type="radio" name="${kind}" value="${value}"${choices[kind] === value ? ' checked' : ''}>${escaped(words)}</label>`
  const fields = choiceKinds.map(
    (kind) =>
      `<fieldset><legend>${escaped(t.choice[kind])}</legend>${radio(kind, 'yes', t.writeToMe)}${radio(kind, 'no', t.doNotWrite)}</fieldset>`,
  )
  return page(
    bearer.language,
    t.letters,
    `<p class="quiet">${escaped(house.centre)}</p>
     <form method="post">${hidden('do', 'stop')}<button>${escaped(t.stopAll)}</button></form>
     <form method="post"><p>${escaped(t.lettersIntro)}</p>${hidden('do', 'choose')}${fields.join('')}<button class="plain">${escaped(t.save)}</button></form>`,
  )
}

export type PageFault = { watchId: string; what: 'done' | 'propose'; words: string }

export function watchesPage(bearer: Bearer, house: House, fault: PageFault | null = null): string {
  const { page: t, letter } = texts[bearer.language]
  const said = (watchId: string, what: PageFault['what']) =>
    fault?.watchId === watchId && fault.what === what ? `<p class="fault" role="alert">${escaped(fault.words)}</p>` : ''
  const form = (watchId: string, what: string, words: string, inner: string, button: string) =>
    `<form method="post"><p>${escaped(words)}</p>${hidden('watch', watchId)}${hidden('do', what)}${inner}<button class="plain">${escaped(button)}</button></form>`
  const sections = bearer.watches.map((watch) => {
    const name = watch.lastFour ? `${watch.name} (${letter.numberEnding(watch.lastFour)})` : watch.name
    const kinds = choiceKinds.filter((kind) => kind !== 'cell-change' || watch.cell)
    const options = kinds.map((kind) => `<option value="${kind}">${escaped(t.doneWhat[kind])}</option>`).join('')
    const dayField = (id: string, words: string, least: Day | null, most: Day) =>
      `<label for="${id}">${escaped(words)}</label><input type="date" id="${id}" name="day" required${least ? ` min="${least}"` : ''} max="${most}">`
    return [
      `<h2>${escaped(name)}</h2>`,
      form(
        watch.id,
        'done-elsewhere',
        t.doneElsewhere,
        `${said(watch.id, 'done')}<select name="kind" aria-label="${escaped(t.doneElsewhere)}">${options}</select>${dayField(`done-${watch.id}`, t.doneOn, null, house.today)}`,
        t.doneButton,
      ),
      form(watch.id, 'now-and-then', t.nowAndThen, '', t.nowAndThenButton),
      form(watch.id, 'never-in-water', t.neverInWater, '', t.neverInWaterButton),
      form(watch.id, 'sold', t.sold, '', t.soldButton),
      form(
        watch.id,
        'propose-day',
        t.proposeDay,
        `${said(watch.id, 'propose')}${dayField(`come-${watch.id}`, t.proposedNote, addDays(house.today, 1), addMonths(house.today, 12))}`,
        t.proposeButton,
      ),
    ].join('')
  })
  const body = sections.length > 0 ? sections.join('') : `<section><p>${escaped(t.noWatch)}</p></section>`
  return page(bearer.language, t.title, `<p class="quiet">${escaped(house.centre)}</p>${body}`)
}

/** Where it goes back to is the address itself: an empty href would keep a query, of which there is none. */
export function thanksPage(language: Language, words: string, back: string): string {
  const t = texts[language].page
  return page(
    language,
    t.thanks,
    `<section><p role="status">${escaped(words)}</p></section><p><a href="${escaped(back)}">${escaped(t.back)}</a></p>`,
  )
}

export function plainPage(language: Language, title: string, words: string): string {
  return page(language, title, `<section><p>${escaped(words)}</p></section>`)
}
