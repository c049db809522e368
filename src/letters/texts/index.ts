import { de } from './de.ts'
import { en } from './en.ts'
import { es } from './es.ts'
import { fr } from './fr.ts'
import { pt } from './pt.ts'
import type { Language, Texts } from './sentences.ts'

export const texts: Record<Language, Texts> = { en, de, fr, es, pt }
