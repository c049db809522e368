import type { RefusalCode } from '../domain/refusals.ts'

/** code → status. A code without a status does not compile. */
export const statuses: Readonly<Record<RefusalCode, number>> = {
  'faulty-input': 400,
  'not-json': 400,
  'not-found': 404,
  'method-not-allowed': 405,
  'unsupported-media-type': 415,
  'not-acceptable': 406,
  'body-too-large': 413,
  'too-many-requests': 429,
  'service-busy': 503,
  'internal-fault': 500,

  'key-missing': 401,
  'key-refused': 401,
  'role-refused': 403,

  'idempotency-key-missing': 400,
  'idempotency-key-malformed': 400,
  'idempotency-key-reused': 422,
  'idempotency-key-in-flight': 409,
  'if-match-missing': 428,
  'if-match-failed': 412,
  'cursor-refused': 400,

  'owner-merged': 409,
  'owner-deceased': 409,
  'owner-erased': 410,
  'merge-impossible': 409,
  'likely-double': 409,
  'serial-known': 409,
  'calibre-known': 409,
  'already-struck': 409,
  'fact-in-future': 400,
  'rule-in-past': 400,
  'manager-key-last': 409,
}
