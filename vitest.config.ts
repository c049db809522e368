import { defineConfig } from 'vitest/config'

export default defineConfig({
  test: {
    include: ['test/**/*.test.ts'],
    setupFiles: ['test/support/dice.ts'],
    globalSetup: ['test/support/database-server.ts'],
    // for what hangs; a machine that is busy with other things may be ten times slower than an idle one
    testTimeout: 300_000,
    hookTimeout: 300_000,
    pool: 'forks',
    maxWorkers: 2,
  },
})
