import { defineConfig } from 'prisma/config'

// `prisma generate` fetches a schema engine that it does not use and fails without internet;
// naming any executable file stops the download.
process.env.PRISMA_SCHEMA_ENGINE_BINARY ??= process.execPath

export default defineConfig({ schema: 'prisma/models' })
