import { once } from 'node:events'
import { createServer, type Socket } from 'node:net'

/** Where a conversation of RFC 5321 can go wrong. */
export const phases = ['greeting', 'ehlo', 'mail', 'rcpt', 'data', 'body', 'dot', 'after-dot'] as const
export type Phase = (typeof phases)[number]

export type Fault =
  /** the connection is closed (FIN) or reset (RST); at `after-dot` the letter has been kept by then */
  | { at: Phase; do: 'close' | 'reset' }
  /** an answer other than the good one; at `after-dot` the letter was kept all the same: a relay that lies */
  | { at: Exclude<Phase, 'body'>; do: 'answer'; reply: string }
  /** nothing is said any more */
  | { at: Phase; do: 'silence' }

export type Kept = {
  to: string[]
  from: string
  raw: Buffer
  messageId: string
  key: string | null
  envid: string | null
}

export type Relay = {
  port: number
  url: string
  kept: Kept[]
  /** called once a letter (with the number of the transaction on this relay, from 1) */
  fault: (transaction: number, to: string) => Fault | null
  /** milliseconds between keeping a letter and saying 250 */
  replyAfter: () => number
  /** called when a letter was kept and before it is answered */
  onKept: (letter: Kept) => void
  connections: number
  /** how many faults have befallen a conversation */
  broken: number
  close: () => Promise<void>
}

const headerOf = (raw: Buffer, name: string): string | null => {
  const head = raw
    .subarray(0, raw.indexOf('\r\n\r\n'))
    .toString('latin1')
    .replace(/\r\n[ \t]+/g, ' ')
  const line = head.split('\r\n').find((one) => one.toLowerCase().startsWith(`${name.toLowerCase()}:`))
  return line ? line.slice(name.length + 1).trim() : null
}

/** A real SMTP peer on a port of its own that keeps what it accepts and breaks where it is told. */
export async function startRelay(options: { keyHeader?: string; size?: number } = {}): Promise<Relay> {
  const sockets = new Set<Socket>()
  let transactions = 0
  const relay: Relay = {
    port: 0,
    url: '',
    kept: [],
    fault: () => null,
    replyAfter: () => 0,
    onKept: () => {},
    connections: 0,
    broken: 0,
    close: async () => {
      for (const socket of sockets) socket.destroy()
      server.close()
      await once(server, 'close')
    },
  }

  const server = createServer((socket) => {
    relay.connections++
    sockets.add(socket)
    socket.setNoDelay(true)
    socket.on('close', () => sockets.delete(socket))
    socket.on('error', () => {})
    let from = ''
    let to: string[] = []
    let envid: string | null = null
    let fault: Fault | null = null
    let began = false
    let silent = false
    let buffer: Buffer = Buffer.alloc(0)
    let inBody = false

    // a fault at the greeting or EHLO is asked for before there is a letter
    const begin = (recipient: string) => {
      if (began) return
      began = true
      transactions++
      fault = relay.fault(transactions, recipient)
    }
    const say = (line: string) => socket.write(`${line}\r\n`)
    /** true when the fault took over */
    const breaks = (at: Phase): boolean => {
      if (fault?.at !== at) return false
      relay.broken++
      if (fault.do === 'close') socket.end()
      else if (fault.do === 'reset') socket.resetAndDestroy()
      else if (fault.do === 'answer') say(fault.reply)
      if (fault.do !== 'answer') silent = true
      return true
    }
    const reset = () => {
      from = ''
      to = []
      envid = null
      began = false
      fault = null
    }

    begin('')
    if (!breaks('greeting')) say('220 relay.example ESMTP')

    const line = (text: string) => {
      const verb = text.slice(0, 4).toUpperCase()
      if (verb === 'EHLO' || verb === 'HELO') {
        if (!breaks('ehlo')) say('250-relay.example\r\n250-8BITMIME\r\n250-DSN\r\n250 SIZE 1000000')
      } else if (verb === 'MAIL') {
        begin('')
        from = /<([^>]*)>/.exec(text)?.[1] ?? ''
        envid = /ENVID=(\S+)/.exec(text)?.[1] ?? null
        if (!breaks('mail')) say('250 2.1.0 ok')
        else if (fault?.do === 'answer') reset()
      } else if (verb === 'RCPT') {
        to.push(/<([^>]*)>/.exec(text)?.[1] ?? '')
        if (!breaks('rcpt')) say('250 2.1.5 ok')
        else if (fault?.do === 'answer') reset()
      } else if (verb === 'DATA') {
        if (breaks('data')) {
          if (fault?.do === 'answer') reset()
        } else {
          inBody = true
          say('354 go ahead')
        }
      } else if (verb === 'RSET') {
        reset()
        say('250 2.0.0 ok')
      } else if (verb === 'QUIT') {
        say('221 2.0.0 bye')
        socket.end()
      } else say('500 5.5.1 what?')
    }

    const finish = (data: Buffer) => {
      inBody = false
      const raw = Buffer.from(data.toString('latin1').replace(/^\.\./gm, '.'), 'latin1')
      if (fault?.at === 'dot') {
        if (breaks('dot')) {
          if (fault?.do === 'answer') reset()
          return
        }
      }
      const messageId = /<([^@>]*)@/.exec(headerOf(raw, 'Message-ID') ?? '')?.[1] ?? ''
      const letter = {
        to,
        from,
        raw,
        messageId,
        key: options.keyHeader ? headerOf(raw, options.keyHeader) : null,
        envid,
      }
      relay.kept.push(letter)
      relay.onKept(letter)
      const answer = () => {
        if (breaks('after-dot')) {
          if (fault?.do === 'answer') reset()
          return
        }
        reset()
        say(`250 2.0.0 queued as ${relay.kept.length}`)
      }
      const wait = relay.replyAfter()
      if (wait > 0) setTimeout(answer, wait)
      else answer()
    }

    socket.on('data', (chunk: Buffer) => {
      if (silent) return
      buffer = buffer.length === 0 ? chunk : Buffer.concat([buffer, chunk])
      for (;;) {
        if (silent) return
        if (inBody) {
          if (fault?.at === 'body' && buffer.length > 0) {
            breaks('body')
            return
          }
          const end = buffer.indexOf('\r\n.\r\n')
          if (end < 0) return
          const data = buffer.subarray(0, end + 2)
          buffer = buffer.subarray(end + 5)
          finish(data)
          continue
        }
        const end = buffer.indexOf('\r\n')
        if (end < 0) return
        const text = buffer.subarray(0, end).toString('latin1')
        buffer = buffer.subarray(end + 2)
        line(text)
      }
    })
  })
  server.listen(0, '127.0.0.1')
  await once(server, 'listening')
  relay.port = (server.address() as { port: number }).port
  relay.url = `smtp://127.0.0.1:${relay.port}`
  return relay
}
