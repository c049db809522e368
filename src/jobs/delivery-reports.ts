import { mailboxReader } from '../features/delivery-reports/mailbox.ts'
import type { Service } from '../http/service.ts'

const read = mailboxReader()

/** What has come to the mailbox of delivery reports since the last tick; idle where none is configured. */
export async function tickDeliveryReports(service: Service): Promise<void> {
  const intake = await read(service)
  if (intake && intake.messages > 0)
    service.log.info({ ...intake, taken: intake.taken.filter((one) => one.fresh).length }, 'delivery reports taken')
}
