import { chmod, mkdtemp } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'

/**
 * A new folder that the system user of an embedded server can enter. One that only root can enter would have its
 * cluster moved to a place that nobody clears away after the test.
 */
export async function enterableFolder(name: string): Promise<string> {
  const folder = await mkdtemp(path.join(os.tmpdir(), `mainplate-${name}-`))
  await chmod(folder, 0o755)
  return folder
}
