/**
 * Takes from a source in so many lanes at once, each on a connection of its own: one reckons while PostgreSQL reads or
 * writes for another. After a failure no lane takes anything more; the first is thrown when all have ended.
 */
export async function inLanes<T>(
  lanes: number,
  source: AsyncGenerator<T, void>,
  work: (one: T) => Promise<unknown>,
): Promise<void> {
  const failures: unknown[] = []
  const lane = async () => {
    while (failures.length === 0) {
      const next = await source.next()
      if (next.done) return
      await work(next.value)
    }
  }
  await Promise.all(Array.from({ length: lanes }, () => lane().catch((error) => failures.push(error))))
  if (failures.length > 0) throw failures[0]
}
