import { addDays } from '../../domain/day.ts'
import type { Act } from '../../http/service.ts'
import { localSettingsOn } from '../house-rules/house-rules.ts'
import { askForSetting } from '../house-rules/missing.ts'
import { addTaskOnce } from '../tasks/tasks.ts'

/** A loss is told to the insurer within the time of the policy. Where nobody has said what that is, it is told today. */
export async function askToTellInsurer(
  { tx, today }: Act,
  { incident, number }: { incident: string; number: string },
): Promise<void> {
  const { insurerNoticeDays: days } = await localSettingsOn(tx, today)
  if (days === null) await askForSetting(tx, 'insurerNoticeDays', today)
  const dueOn = addDays(today, days ?? 0)
  const why = days === null ? 'how long the policy allows is not set' : `the policy allows ${days} days`
  await addTaskOnce(tx, {
    kind: 'tell-insurer',
    role: 'manager',
    dedupe: `insurer/${incident}`,
    words: `The watch of ticket ${number} is missing. Tell the insurer by ${dueOn}: ${why}.`,
    dueOn,
  })
}
