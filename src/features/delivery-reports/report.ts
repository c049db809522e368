/** What a report of RFC 3464 says of one recipient. */
export type RecipientReport = {
  /** ENVID of RFC 3461, which is the id of the notice where the relay gave it back */
  envelopeId: string | null
  /** Message-ID of the letter reported on, from the part that returns it, without angle brackets */
  messageId: string | null
  recipient: string | null
  action: 'failed' | 'delayed' | 'delivered' | 'relayed' | 'expanded'
  /** class.subject.detail of RFC 3463 */
  status: string
  diagnostic: string | null
}

const actions = ['failed', 'delayed', 'delivered', 'relayed', 'expanded'] as const
const statusShape = /^[245]\.(?:0|[1-9]\d{0,2})\.(?:0|[1-9]\d{0,2})$/

type Fields = Map<string, string>

/** Groups of fields apart by empty lines, continuation lines joined (RFC 3464 2.1). */
function groupsOf(text: string): Fields[] {
  const groups: Fields[] = []
  let fields: Fields | null = null
  for (const line of text
    .replace(/\r\n/g, '\n')
    .replace(/\n[ \t]+/g, ' ')
    .split('\n')) {
    if (line.trim() === '') {
      fields = null
      continue
    }
    const at = line.indexOf(':')
    if (at < 1) continue
    if (fields === null) {
      fields = new Map()
      groups.push(fields)
    }
    const name = line.slice(0, at).trim().toLowerCase()
    // a field that comes twice: the first counts
    if (!fields.has(name)) fields.set(name, line.slice(at + 1).trim())
  }
  return groups
}

/** `rfc822; someone@example.org`, comments taken away; the type must be one of mail. */
function addressIn(field: string | undefined): string | null {
  const parts = /^\s*(?:rfc822|utf-8)\s*;\s*(.+)$/i.exec(field ?? '')
  const address = parts?.[1]
    ?.replace(/\([^()]*\)/g, '')
    .trim()
    .replace(/^<(.*)>$/, '$1')
  return address && address.length <= 320 && address.includes('@') ? address : null
}

/**
 * Reads a message as a delivery report. Null where it is none; recipients whose action or status cannot be read are left
 * out, since nothing may follow from them.
 */
export async function readReport(message: Uint8Array): Promise<RecipientReport[] | null> {
  const { default: PostalMime } = await import('postal-mime')
  const mail = await PostalMime.parse(message, {
    forceRfc822Attachments: true,
    attachmentEncoding: 'utf8',
    maxNestingDepth: 20,
  }).catch(() => null)
  const part = (...types: string[]) =>
    mail?.attachments.find((one) => types.includes(one.mimeType.toLowerCase()))?.content
  const status = part('message/delivery-status', 'message/global-delivery-status')
  if (typeof status !== 'string') return null
  const [about, ...recipients] = groupsOf(status)
  if (!about || recipients.length === 0) return null
  const returned = part(
    'message/rfc822',
    'text/rfc822-headers',
    'message/rfc822-headers',
    'message/global',
    'message/global-headers',
  )
  const head = typeof returned === 'string' ? groupsOf(returned.split(/\r?\n\r?\n/)[0] ?? '')[0] : undefined
  const messageId = /<([^<>\s]{1,250})>/.exec(head?.get('message-id') ?? '')?.[1] ?? null
  const envelopeId = about.get('original-envelope-id')?.slice(0, 100) ?? null
  return recipients.slice(0, 100).flatMap((fields) => {
    const action = actions.find((one) => one === fields.get('action')?.replace(/\(.*/, '').trim().toLowerCase())
    const code = fields.get('status')?.replace(/\(.*/, '').trim() ?? ''
    if (!action || !statusShape.test(code)) return []
    // the address the letter was sent to first: a forwarder's own one means nothing here
    const recipient = addressIn(fields.get('original-recipient')) ?? addressIn(fields.get('final-recipient'))
    return [
      {
        envelopeId,
        messageId,
        recipient,
        action,
        status: code,
        diagnostic: fields.get('diagnostic-code')?.slice(0, 300) ?? null,
      },
    ]
  })
}

/** The messages of a mailbox file (RFC 4155, `>From ` undone); one message where it is no such file. */
export function messagesIn(file: Buffer): Buffer[] {
  const text = file.toString('latin1')
  if (!text.startsWith('From ')) return [file]
  return text
    .split(/^From .*\r?\n/m)
    .filter((message) => message.trim() !== '')
    .map((message) => Buffer.from(message.replace(/^>(>*From )/gm, '$1'), 'latin1'))
}
