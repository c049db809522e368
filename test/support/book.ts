import type { House } from './house.ts'

/** Short ways to put people and watches on file through the doors. */
export const book = (house: () => House) => ({
  owner: async (name = 'Ada Fennimore', contacts: object[] = [], more: object = {}) =>
    (
      await house()
        .as('counter')
        .post('/v1/owners', { name, contacts, confirmedNew: true, ...more })
        .expect(201)
    ).body,
  watch: async (fields: object = {}) =>
    (
      await house()
        .as('counter')
        .post('/v1/watches', { maker: 'Halden', kind: 'self-winding', firstSeen: '2020-01-01', ...fields })
        .expect(201)
    ).body,
})

type Due = { kind: string; dueOn: string; noticesDueOn: string; rule: string }
export const dueOf = (body: { obligations: Due[] }, kind: string) => body.obligations.find((one) => one.kind === kind)
