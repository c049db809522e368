/**
 * SQL of the open tickets whose watch shares a key of its look (by maker and model, by metal and dial) with the one given
 * and differs in none that is known of both. Each branch is one range of an index: with the same dial come those
 * of an unknown model alone, unless one's own is unknown, for half a house may have blue dials in steel.
 */
export const openAlike = (model: string, dial: string): string => `
  (select id from ticket where ended is null and look_model = ${model} and (look_dial = ${dial} or look_dial is null or ${dial} is null) limit 500)
  union (select id from ticket where ended is null and look_dial = ${dial} and look_model is null limit 500)
  union (select id from ticket where ended is null and look_dial = ${dial} and look_model is not null and ${model} is null limit 500)`
