import type { Act } from '../../http/service.ts'

/** The one thing to do about a watch of a recall. */
export const recallTask = (recallId: string, watchId: string) => `recall/${recallId}/${watchId}`

export async function closeRecallTasks({ tx, now, who }: Act, recallId: string, watchId: string, how: string) {
  await tx.task.updateMany({
    where: { dedupe: recallTask(recallId, watchId), doneAt: null },
    data: { doneAt: now, doneBy: who.name, doneHow: `the recall: ${how}` },
  })
}
