import path from 'node:path'
import { defineConfig } from 'vitest/config'

export default defineConfig({
  test: {
    root: path.resolve(import.meta.dirname, '../..'),
    include: ['test/browser/**/*.browser.ts'],
    setupFiles: ['test/support/dice.ts'],
    globalSetup: ['test/support/database-server.ts'],
    testTimeout: 90_000,
    hookTimeout: 120_000,
    pool: 'forks',
    maxWorkers: 1,
  },
})
