import { existsSync } from 'node:fs'
import { mkdir } from 'node:fs/promises'
import path from 'node:path'
import { type Browser, type BrowserContext, chromium, type Page } from 'playwright-core'

const places = [
  '/usr/bin/chromium',
  '/usr/bin/chromium-browser',
  '/usr/bin/google-chrome',
  '/Applications/Chromium.app/Contents/MacOS/Chromium',
]

/** The Chromium of this machine: CHROMIUM, or where the usual packages put it. */
export async function openChromium(): Promise<Browser> {
  const found = process.env.CHROMIUM ?? places.find((one) => existsSync(one))
  if (!found)
    throw new Error(
      'There is no Chromium here: install it (Debian: apt-get install chromium) or set CHROMIUM to its path.',
    )
  return chromium.launch({
    executablePath: found,
    // Chromium's own sandbox does not start under root, as in a container of a build
    args: process.getuid?.() === 0 ? ['--no-sandbox'] : [],
  })
}

/** A narrow telephone: 360 by 640 CSS pixels. */
export const telephone = (browser: Browser, more: Parameters<Browser['newContext']>[0] = {}): Promise<BrowserContext> =>
  browser.newContext({
    viewport: { width: 360, height: 640 },
    deviceScaleFactor: 2,
    isMobile: true,
    hasTouch: true,
    ...more,
  })

/** Pixels by which the page is wider than the screen, and what sticks out, to be named when a test fails. */
export const overflow = (page: Page): Promise<{ by: number; what: string[] }> =>
  page.evaluate(`(() => {
    const width = window.screen.width
    const out = [...document.querySelectorAll('body *')].filter((one) =>
      one.getBoundingClientRect().right > width + 0.5 || one.scrollWidth > one.clientWidth + 1)
    return {
      by: document.documentElement.scrollWidth - width,
      what: out.map((one) => one.tagName.toLowerCase() + ': ' + one.textContent.trim().slice(0, 40)),
    }
  })()`)

/** CSS pixels of the letters of a paragraph. */
export const lettering = (page: Page): Promise<number> =>
  page.evaluate(`Number.parseFloat(getComputedStyle(document.querySelector('p')).fontSize)`)

/** Pictures to be looked at by a person, in .data/browser. */
export async function picture(page: Page, name: string): Promise<void> {
  const folder = path.resolve('.data/browser')
  await mkdir(folder, { recursive: true })
  await page.screenshot({ path: path.join(folder, `${name}.png`), fullPage: true })
}
