import { describe, expect, it } from 'vitest'
import { judgeGate } from '../../../src/domain/tickets/gates.ts'
import {
  acceptanceOf,
  frozen,
  type GateName,
  gateNames,
  moveBetween,
  type Step,
  sideStates,
  steps,
  workKinds,
} from '../../../src/domain/tickets/steps.ts'
import { type Decision, decideMove } from '../../../src/domain/tickets/walk.ts'
import { broken, wholeTicket } from './whole.ts'

/**
 * The table of moves, written down again by hand as the trade tells it (common practice, no source): numbers of steps,
 * gates without G4, which each move asks too. A reason is marked with *.
 */
const numbers: Record<string, Step> = {
  1: 'booked-in',
  2: 'awaiting-look',
  3: 'looked-over',
  4: 'priced',
  5: 'awaiting-yes',
  '5a': 'return-undone',
  6: 'awaiting-parts',
  7: 'ready-for-bench',
  8: 'on-the-bench',
  9: 'closed',
  10: 'under-observation',
  11: 'final-check',
  12: 'ready',
  13: 'handed-over',
}
const table: Record<string, string> = {
  '1 2': 'G1 G2 G3',
  '2 3': 'G5',
  '3 4': '',
  '4 5': 'G6',
  '5 6': 'G7',
  '5 7': 'G7',
  '6 7': 'G8',
  '7 8': 'G9',
  '8 9': 'G10',
  '9 10': 'G11',
  '10 11': 'G12',
  '11 12': 'G13',
  '12 13': 'G1 G2 G3 G5 G7 G10 G11 G12 G13 G14 G15',
  '2 5a': '*',
  '3 5a': '*',
  '5 5a': '*',
  '6 5a': '*',
  '7 5a': '*',
  '8 5a': '*',
  '5a 12': 'G11 G13',
  '6 4': '*',
  '7 4': '*',
  '8 4': '*',
  '9 8': '*',
  '10 8': '*',
  '11 8': '*',
  '12 8': '*',
}
const expected = new Map<string, { gates: Set<string>; reason: boolean }>()
for (const [ends, gates] of Object.entries(table)) {
  const [from = '', to = ''] = ends.split(' ')
  const names = gates.split(' ').filter((name) => name.startsWith('G'))
  expected.set(`${numbers[from]}>${numbers[to]}`, { gates: new Set([...names, 'G4']), reason: gates === '*' })
}

const shutIn = (decision: Decision) =>
  !decision.ok && decision.fault === 'gate-shut'
    ? [decision.gate.gate, ...decision.alsoShut.map((one) => one.gate.gate)]
    : []

describe('the whole ticket', () => {
  it('has every gate open', () => {
    for (const gate of gateNames) expect(judgeGate(gate, wholeTicket()), gate).toMatchObject({ state: 'open' })
  })
  it('can have each gate shut alone', () => {
    for (const gate of gateNames) {
      const t = broken[gate](wholeTicket())
      const others = gate === 'G14' ? { ...t, release: null } : t
      expect(judgeGate(gate, others).state, gate).toBe('shut')
      for (const other of gateNames) {
        if (other === gate || (gate === 'G14' && other === 'G15')) continue
        expect(judgeGate(other, t).state, `${gate} shut: ${other}`).toBe('open')
      }
    }
  })
})

describe('the table of moves', () => {
  it('has these moves and no other', () => {
    for (const from of steps) {
      for (const to of steps)
        expect(moveBetween(from, to) !== null, `${from} to ${to}`).toBe(expected.has(`${from}>${to}`))
    }
  })

  for (const undone of [false, true]) {
    it(`asks of each step and target each gate, open and shut, ${undone ? 'going back undone' : 'on the usual way'}`, () => {
      let tried = 0
      for (const from of steps) {
        for (const to of steps) {
          const wanted = expected.get(`${from}>${to}`)
          if (!wanted) continue
          for (const gate of [null, ...gateNames] as (GateName | null)[]) {
            const t = wholeTicket(from, undone || from === 'return-undone')
            // At the last move somebody has compared the watch, which also tells that the collector is here.
            const shut = gate === null ? t : gate === 'G14' ? { ...broken.G14(t), release: null } : broken[gate](t)
            const decision = decideMove(shut, to, wanted.reason ? 'because' : null)
            let asked = gate !== null && wanted.gates.has(gate)
            if (t.ticket.undone && to === 'handed-over' && ['G7', 'G10', 'G12'].includes(gate ?? '')) asked = false
            if (gate === 'G16') asked = from === 'looked-over' && to === 'priced'
            if (gate === 'G14' && to === 'handed-over') asked = true
            expect(decision.ok, `${from} to ${to} with ${gate} shut`).toBe(!asked)
            if (asked) expect(shutIn(decision), `${from} to ${to}`).toContain(gate)
            // without the comparison the hand-over itself is shut, too
            if (asked) expect(shutIn(decision)).toHaveLength(gate === 'G14' ? 2 : 1)
            tried += 1
          }
        }
      }
      expect(tried).toBe(27 * 17)
    })
  }

  it('wants a reason for each way back or aside', () => {
    for (const [ends, { reason }] of expected) {
      const [from, to] = ends.split('>') as [Step, Step]
      const decision = decideMove(wholeTicket(from, from === 'return-undone'), to, ' ')
      expect(decision.ok, ends).toBe(!reason)
    }
  })

  it('moves nothing while missing, in dispute or kept as evidence, and nothing that has ended', () => {
    for (const side of sideStates) {
      const t = wholeTicket('on-the-bench')
      const decision = decideMove({ ...t, ticket: { ...t.ticket, side } }, 'closed', null)
      expect(decision.ok, side).toBe(!frozen.has(side))
    }
    const over = wholeTicket('handed-over')
    expect(decideMove(over, 'on-the-bench', 'again')).toEqual({ ok: false, fault: 'ended' })
    const lost = wholeTicket('on-the-bench')
    expect(decideMove({ ...lost, ticket: { ...lost.ticket, ended: 'lost-and-settled' } }, 'closed', null)).toEqual({
      ok: false,
      fault: 'ended',
    })
  })
})

describe('while you wait', () => {
  it('walks from the counter to the bench in one call, past the wait for parts', () => {
    const decision = decideMove(wholeTicket('booked-in'), 'on-the-bench', null)
    expect(decision.ok && decision.moves.map((move) => move.to)).toEqual([
      'awaiting-look',
      'looked-over',
      'priced',
      'awaiting-yes',
      'ready-for-bench',
      'on-the-bench',
    ])
  })
  it('goes nowhere if one gate on the way is shut, and names the first and every other', () => {
    for (const gate of ['G2', 'G5', 'G7', 'G9'] as const) {
      const t = broken[gate](broken.G9(wholeTicket('booked-in')))
      const others = gate === 'G9' ? [] : [{ gate: { gate: 'G9' }, move: { to: 'on-the-bench' } }]
      const decision = { ok: false, fault: 'gate-shut', gate: { gate }, alsoShut: others }
      expect(decideMove(t, 'closed', null)).toMatchObject(decision)
    }
  })
  it('from each step to each that no move leads to: forward it asks the gates of every move on the way, else it goes nowhere', () => {
    const through = ['1', '2', '3', '4', '5', '6', '7', '8', '9', '10', '11', '12', '13']
    let walks = 0
    for (const [a, from] of Object.entries(numbers)) {
      for (const [b, to] of Object.entries(numbers)) {
        if (table[`${a} ${b}`] !== undefined) continue
        for (const gate of [null, ...gateNames.filter((name) => name !== 'G14')] as (GateName | null)[]) {
          const t = wholeTicket(from, a === '5a')
          const decision = decideMove(gate === null ? t : broken[gate](t), to, 'because')
          const named = `${from} to ${to} with ${gate} shut`
          if (a === '13') {
            expect(decision, named).toEqual({ ok: false, fault: 'ended' })
            continue
          }
          // past the wait for parts, unless one is awaited: with G8 shut one is
          const way = through.filter((n) => n !== '6' || gate === 'G8' || a === '6' || b === '6')
          const path = a === '5a' && b === '13' ? ['5a', '12', '13'] : way.slice(way.indexOf(a), way.indexOf(b) + 1)
          if (a !== '5a' && way.indexOf(a) >= way.indexOf(b)) path.length = 0
          if (b === '5a' || (a === '5a' && b !== '13')) path.length = 0
          if (path.length === 0) {
            expect(decision, named).toMatchObject({ ok: false, fault: 'no-such-move' })
            continue
          }
          const asked = path.slice(1).flatMap((n, i) => [...expected.get(`${numbers[path[i]!]}>${numbers[n]}`)!.gates])
          const undone = a === '5a' && ['G7', 'G10', 'G12'].includes(gate ?? '')
          const comeback = gate === 'G16' && path.indexOf('3') >= 0 && path.indexOf('4') > 0
          const shut = gate !== null && ((asked.includes(gate) && !undone) || comeback)
          expect(shutIn(decision), named).toEqual(shut ? [gate] : [])
          expect(decision.ok && decision.moves.map((move) => move.to), named).toEqual(
            shut ? false : path.slice(1).map((n) => numbers[n]),
          )
          walks += 1
        }
      }
    }
    expect(walks).toBeGreaterThan(900)
  })
  it('goes through the wait for parts where parts are awaited, and stops there', () => {
    const t = broken.G8(wholeTicket('awaiting-yes'))
    expect(decideMove(t, 'on-the-bench', null)).toMatchObject({ ok: false, gate: { gate: 'G8' } })
    expect(decideMove(t, 'awaiting-parts', null)).toMatchObject({ ok: true })
  })
  it('never walks backwards or aside', () => {
    expect(decideMove(wholeTicket('ready'), 'priced', 'x')).toMatchObject({
      ok: false,
      fault: 'no-such-move',
      possible: ['handed-over', 'on-the-bench'],
    })
    expect(decideMove(wholeTicket('booked-in'), 'return-undone', 'x')).toMatchObject({
      ok: false,
      fault: 'no-such-move',
    })
  })
})

describe('records of work at each step', () => {
  it('take a ticket from closing or later back to the bench', () => {
    for (const step of ['closed', 'under-observation', 'final-check', 'ready'] as const) {
      for (const kind of ['opening', 'sealing', 'fitting', 'operation', 'failed-test'] as const) {
        expect(acceptanceOf(step, null, kind), `${step} ${kind}`).toBe('back-to-the-bench')
      }
      expect(acceptanceOf(step, null, 'test')).toBe('taken')
      expect(acceptanceOf(step, null, 'reading')).toBe('taken')
    }
  })
  it('are only closing, sealing and testing on the way back undone', () => {
    const taken = workKinds.filter((kind) => acceptanceOf('return-undone', null, kind) === 'taken')
    expect(taken).toEqual(['closing', 'sealing', 'test', 'failed-test'])
  })
  it('are refused before the look, after the hand-over and in a frozen state', () => {
    for (const kind of workKinds) {
      for (const step of ['booked-in', 'awaiting-look', 'handed-over'] as const)
        expect(acceptanceOf(step, null, kind)).toBe('refused')
      for (const side of frozen) expect(acceptanceOf('on-the-bench', side, kind)).toBe('refused')
    }
  })
})
