import { startRelay } from '../faults/delivery/relay.ts'

/** A mail sink in a process of its own, so that it does not share the sender's time; says its address, counts for whoever asks. */
const relay = await startRelay()
let counted = 0
relay.onKept = () => {
  counted++
  relay.kept.length = 0
}
process.on('message', () => process.send?.({ counted }))
process.on('disconnect', () => process.exit())
process.send?.({ url: relay.url })
