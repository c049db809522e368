import { z } from 'zod'
import { createOnce } from '../../http/creating.ts'
import { expectedVersion, withEtag } from '../../http/editing.ts'
import { afterOf, page, pageQuery } from '../../http/paging.ts'
import type { Routes } from '../../http/routes.ts'
import { act, type Service, signerOf } from '../../http/service.ts'
import { byId, day, dayOut, id, idOut, instantOut, line, prose } from '../../http/shapes.ts'
import {
  addContact,
  addOwner,
  editContact,
  editOwner,
  endContact,
  getOwner,
  markDeceased,
  mergeOwners,
  recordChoice,
  unmergeOwner,
} from './owners.ts'
import { searchOwners } from './search.ts'

const means = z.enum(['e-mail', 'phone', 'post'])
const preferredFor = z.array(z.enum(['ready', 'question', 'reminder'])).max(3)
export const contactBody = z.strictObject({
  means,
  value: prose(400),
  preferredFor: preferredFor.optional(),
  testedOn: day.optional(),
})
export const choiceBody = z.strictObject({
  kind: z.enum(['complete-service', 'water-check', 'cell-change']),
  choice: z.enum(['yes', 'no', 'not-asked']),
  on: day.optional(),
  means: line(80),
  wording: line(80),
})
const language = z.enum(['en', 'de', 'fr', 'es', 'pt'])
const standing = z.enum(['normal', 'business-account', 'do-not-serve', 'in-dispute'])
const business = {
  taxNumber: line(40).nullable().optional(),
  paymentDays: z.number().int().min(0).max(180).nullable().optional(),
  discountClass: line(40).nullable().optional(),
}
export const ownerBody = z.strictObject({
  name: line(120),
  formOfAddress: line(60).optional(),
  language: language.default('en'),
  isFirm: z.boolean().optional(),
  standing: standing.optional(),
  ...business,
  contacts: z.array(contactBody).max(10).default([]),
  noticeChoices: z.array(choiceBody).max(10).optional(),
})

const ownerOut = z.object({
  id: idOut,
  version: z.number().int(),
  name: z.string(),
  formOfAddress: z.string().nullable(),
  language: z.string(),
  isFirm: z.boolean(),
  standing: z.string(),
  taxNumber: z.string().nullable(),
  paymentDays: z.number().int().nullable().meta({ description: 'terms of payment' }),
  discountClass: z.string().nullable(),
  deceasedOn: dayOut.nullable(),
  deceasedToldBy: z.string().nullable(),
  erasedOn: dayOut.nullable(),
  mergedInto: idOut.nullable(),
  contacts: z.array(
    z.object({
      id: idOut,
      means: z.string(),
      value: z.string(),
      preferredFor: z.array(z.string()),
      testedOn: dayOut.nullable(),
      failedOn: dayOut.nullable(),
      failedWhy: z.string().nullable(),
    }),
  ),
  noticeChoices: z.array(
    z.object({ kind: z.string(), choice: z.string(), on: dayOut, means: z.string(), wording: z.string() }),
  ),
  watchIds: z.array(idOut),
  createdAt: instantOut,
})
const foundOut = z.object({
  id: idOut,
  name: z.string(),
  language: z.string(),
  mergedInto: idOut.nullable(),
  deceased: z.boolean(),
})

export function ownerRoutes(app: Routes, service: Service): void {
  const config = { roles: ['counter', 'manager'] as const }
  const everybody = { roles: ['counter', 'bench', 'stock', 'manager'] as const }
  const country = service.config.centre.country
  const tags = ['owners']

  app.post(
    '/v1/owners',
    {
      config,
      schema: {
        tags,
        summary: 'Put a new owner on file; a likely double is offered instead',
        body: ownerBody.extend({ confirmedNew: z.boolean().optional() }),
        response: { 201: ownerOut },
      },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => addOwner(doing, request.body, country)),
  )
  app.get(
    '/v1/owners',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'Find owners by name, telephone or mail address',
        querystring: z.strictObject({ ...pageQuery, search: line(120).optional() }),
        response: { 200: z.object({ items: z.array(foundOut) }) },
      },
    },
    async (request, reply) => {
      const rows = await searchOwners(
        service.database.prisma,
        request.query.search,
        afterOf(request, 'id'),
        request.query.limit,
        country,
      )
      return page(request, reply, rows, (row) => [row.id])
    },
  )
  app.get(
    '/v1/owners/:id',
    {
      config: everybody,
      schema: {
        tags,
        summary: 'One owner, with contacts, choices and watches',
        params: byId,
        response: { 200: ownerOut },
      },
    },
    async (request, reply) => withEtag(reply, await getOwner(service.database.prisma, request.params.id)),
  )
  app.patch(
    '/v1/owners/:id',
    {
      config,
      schema: {
        tags,
        summary: 'Mend an owner’s record; the old values are kept',
        params: byId,
        body: z.strictObject({
          name: line(120).optional(),
          formOfAddress: line(60).optional(),
          language: language.optional(),
          isFirm: z.boolean().optional(),
          standing: standing.optional(),
          ...business,
          reason: line(300).optional(),
        }),
        response: { 200: ownerOut },
      },
    },
    async (request, reply) => {
      const expected = expectedVersion(request)
      return withEtag(
        reply,
        await act(service, signerOf(request), (doing) => editOwner(doing, request.params.id, expected, request.body)),
      )
    },
  )
  app.post(
    '/v1/owners/:id/contacts',
    {
      config,
      schema: {
        tags,
        summary: 'A new means of contact',
        params: byId,
        body: contactBody,
        response: { 201: z.object({ id: idOut, owner: ownerOut }) },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => addContact(doing, request.params.id, request.body, country)),
  )
  app.patch(
    '/v1/owners/:id/contacts/:contactId',
    {
      config,
      schema: {
        tags,
        summary:
          'What became of a means of contact: tested and found to work, or failed; If-Match is the version of the owner',
        params: z.strictObject({ id, contactId: id }),
        body: z.strictObject({
          testedOn: day.optional(),
          failedOn: day.optional(),
          why: line(300).optional(),
          preferredFor: preferredFor.optional(),
        }),
        response: { 200: ownerOut },
      },
    },
    async (request, reply) => {
      const expected = expectedVersion(request)
      const { id: ownerId, contactId } = request.params
      return withEtag(
        reply,
        await act(service, signerOf(request), (doing) =>
          editContact(doing, ownerId, contactId, expected, request.body),
        ),
      )
    },
  )
  app.post(
    '/v1/owners/:id/contacts/:contactId/end',
    {
      config,
      schema: {
        tags,
        summary: 'A means of contact that no longer holds',
        params: z.strictObject({ id, contactId: id }),
        response: { 200: ownerOut },
      },
    },
    (request) =>
      act(service, signerOf(request), (doing) => endContact(doing, request.params.id, request.params.contactId)),
  )
  app.post(
    '/v1/owners/:id/notice-choices',
    {
      config,
      schema: {
        tags,
        summary: 'What the owner said about being written to',
        params: byId,
        body: choiceBody,
        response: { 201: ownerOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => recordChoice(doing, request.params.id, request.body)),
  )
  app.post(
    '/v1/owners/:id/deceased',
    {
      config,
      schema: {
        tags,
        summary: 'The owner has died: every letter stops at once',
        params: byId,
        body: z.strictObject({ on: day.optional(), toldBy: line(120) }),
        response: { 201: ownerOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => markDeceased(doing, request.params.id, request.body)),
  )
  app.post(
    '/v1/owners/:id/merge',
    {
      config,
      schema: {
        tags,
        summary: 'This record is the same person as another; that one is kept',
        params: byId,
        body: z.strictObject({ into: id }),
        response: { 200: ownerOut },
      },
    },
    (request, reply) =>
      createOnce(service, request, reply, (doing) => mergeOwners(doing, request.params.id, request.body.into)),
  )
  app.post(
    '/v1/owners/:id/unmerge',
    {
      config,
      schema: { tags, summary: 'It was not the same person after all', params: byId, response: { 200: ownerOut } },
    },
    (request, reply) => createOnce(service, request, reply, (doing) => unmergeOwner(doing, request.params.id)),
  )
}
