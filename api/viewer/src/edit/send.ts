import { batch, signal } from '@preact/signals'
import type { Geometry } from 'geojson'
import { editKey, item, Problem, send, type Feature, type Sent } from '../service'
import { map } from '../map/instance'
import { edited, tree } from '../state/store'
import { tell } from '../ui/toast'
import { by } from '../work/by'
import { changes, close, draft, draftOf, hold, nameOfDraft, ownShape, refused, type Draft, type Props } from './draft'
import type { Collection } from './schema'

// named says who edits, unless a key does.
const named = () => editKey.get() ? {} : { by: by.value.trim() }

type Got = Sent<Feature<Props, Geometry | null>>

export const busy = signal(false)
export const trouble = signal('')

// Conflict is what somebody else made of the feature in hand meanwhile; theirs is
// null where they deleted it.
export const conflict = signal<{ theirs: Draft | null } | null>(null)

// The service asks for a key: what is to be tried again once it is given.
export const keyFor = signal<(() => void) | null>(null)

// Step is an edit that can be undone.
interface Step { says: string; c: Collection; id: number; back: { remove: true } | { to: number } }
export const steps = signal<readonly Step[]>([])

// The ETags of what was edited here, as it was left: what is undone must still be so.
const left = new Map<string, string | null>()

function note(step: Step | null, got: Got | null) {
  if (step) steps.value = [...steps.value, step]
  if (step) left.set(`${step.c}/${step.id}`, got?.etag ?? null)
  shown()
}

// shown lets list, totals and tiles follow an edit.
function shown() {
  edited.value++
  const m = map.peek()
  for (const source of ['trees', 'targets']) if (m?.getSource(source)) m.refreshTiles(source)
}

const path = (c: Collection, id: number) => `/collections/${c}/items/${id}`
const putBack = (c: Collection, id: number, version: number, etag: string | null) =>
  send<Feature<Props, Geometry | null>>(`${path(c, id)}/history`, named(), { method: 'POST', body: { version }, ifMatch: etag })

// attempt runs one exchange with the service at a time. It resolves to whether it
// went well, and asks for the key where one is needed.
async function attempt(what: () => Promise<void>, failed?: (err: Problem) => boolean | Promise<boolean>): Promise<boolean> {
  if (busy.value) return false
  busy.value = true
  trouble.value = ''
  const key = editKey.get()
  try {
    await what()
    return true
  } catch (err) {
    if (err instanceof Problem && err.status === 401) {
      keyFor.value = () => { void attempt(what, failed) }
      if (key) trouble.value = err.message
    } else if (!(err instanceof Problem && await failed?.(err))) trouble.value = (err as Error).message
    return false
  } finally {
    busy.value = false
  }
}

// save sends what has changed. A refusal is shown at the field that it names; what
// is typed stays.
export const save = () => {
  const d = draft.value
  if (!d) return Promise.resolve(false)
  const { values, shape } = changes.value
  refused.value = null
  return attempt(async () => {
    let got: Got
    const made = d.id === null
    if (made) {
      const all = Object.fromEntries(Object.entries({ ...d.now }).filter(([, text]) => text.trim() !== '').map(([name]) => [name, values[name] ?? readAll(d)[name]!]))
      got = await send(`/collections/${d.c}/items`, named(), { method: 'POST', type: 'application/geo+json', body: { type: 'Feature', geometry: d.shape, properties: all } })
    } else {
      got = await send(path(d.c, d.id!), named(), { method: 'PATCH', type: 'application/merge-patch+json', ifMatch: d.etag, body: { properties: values, ...(shape ? { geometry: d.shape } : {}) } })
    }
    if (!got.body) got = await item<Props, Geometry | null>(d.c, d.id ?? Number(got.location?.split('/').at(-1)))
    const next = await draftOf(d.c, got)
    batch(() => {
      hold(next)
      note({ says: `${made ? 'adding' : 'changing'} the ${nameOfDraft(next)}`, c: d.c, id: next.id!, back: made ? { remove: true } : { to: d.version! } }, got)
    })
    tell(`The ${nameOfDraft(next)} is ${made ? 'added' : 'saved'}.`)
  }, async (err) => {
    if (err.status === 412 && d.id !== null) {
      const theirs = await item<Props, Geometry | null>(d.c, d.id).then((got) => draftOf(d.c, got), (e: Problem) => { if (e.status === 404) return null; throw e })
      conflict.value = { theirs }
      return true
    }
    if (typeof err.members.property === 'string' && err.members.property) {
      refused.value = { property: err.members.property, text: err.message }
      return true
    }
    return false
  })
}

const readAll = (d: Draft): Props => Object.fromEntries(d.specs.map((s) => [s.name, valueOf(d, s.name)]))
function valueOf(d: Draft, name: string) {
  const text = d.now[name] ?? '', s = d.specs.find((s) => s.name === name)!
  return s.type === 'integer' || s.type === 'number' ? Number(text.trim().replace(',', '.')) : s.type === 'boolean' ? text === 'true' : s.type === 'object' && text ? JSON.parse(text) as object : text.trim()
}

// settle goes on from somebody else's version with what was chosen of one's own.
export function settle(theirs: Draft, mine: ReadonlySet<string>) {
  const d = draft.value!
  batch(() => {
    draft.value = { ...theirs, now: { ...theirs.now, ...Object.fromEntries(Object.entries(d.now).filter(([name]) => mine.has(name))) }, shape: mine.has('geometry') && ownShape(d.c) ? d.shape : theirs.shape }
    conflict.value = null
  })
}

// revive brings back what somebody deleted meanwhile, and keeps what is typed.
export const revive = () => {
  const d = draft.value!
  const mine = new Set([...Object.keys(changes.value.values), ...(changes.value.shape ? ['geometry'] : [])])
  return attempt(async () => {
    const got = await putBack(d.c, d.id!, d.version!, null)
    note({ says: `bringing the ${nameOfDraft(d)} back`, c: d.c, id: d.id!, back: { remove: true } }, got)
    settle(await draftOf(d.c, got), mine)
  })
}

export const remove = () => {
  const d = draft.value
  if (d?.id == null) return Promise.resolve(false)
  return attempt(async () => {
    await send(path(d.c, d.id!), named(), { method: 'DELETE', ifMatch: d.etag })
    if (d.c === 'trees' && tree.value === d.id) tree.value = null
    close()
    const step: Step = { says: `deleting the ${nameOfDraft(d)}`, c: d.c, id: d.id!, back: { to: d.version! } }
    note(step, null)
    tell(`The ${nameOfDraft(d)} is deleted. Undo brings it back with its number${d.c === 'trees' ? ', cuts and visits' : ''}.`, 'note', { words: 'Undo', act: () => {
      if (changes.value.any) tell('Save or drop first what is in hand.')
      else void (steps.value.at(-1) === step ? undo() : returnTo(d.c, d.id!, d.version!, null))
    } })
  }, async (err) => {
    if (err.status !== 412) return false
    const theirs = await item<Props, Geometry | null>(d.c, d.id!).then((got) => draftOf(d.c, got), () => null)
    conflict.value = { theirs }
    return true
  })
}

// returnTo puts a feature back to a version of its change log; from is where it is,
// null for one that is deleted.
export const returnTo = (c: Collection, id: number, version: number, from: { version: number; etag: string | null } | null) => attempt(async () => {
  const got = await putBack(c, id, version, from?.etag ?? null)
  const now = await draftOf(c, got)
  note({ says: `putting the ${nameOfDraft(now)} back`, c, id, back: from ? { to: from.version } : { remove: true } }, got)
  hold(now)
  tell(`The ${nameOfDraft(now)} is as it was in version ${version}.`)
})

export const undo = () => {
  const last = steps.value.at(-1)
  if (!last) return Promise.resolve(false)
  const key = `${last.c}/${last.id}`
  const drop = () => { steps.value = steps.value.slice(0, -1) }
  return attempt(async () => {
    if ('remove' in last.back) {
      await send(path(last.c, last.id), named(), { method: 'DELETE', ifMatch: left.get(key) ?? null })
      left.set(key, null)
      drop()
      close()
    } else {
      const got = await putBack(last.c, last.id, last.back.to, left.get(key) ?? null)
      left.set(key, got.etag)
      drop()
      hold(await draftOf(last.c, got))
    }
    shown()
    tell(`Undone: ${last.says}.`)
  }, (err) => {
    if (err.status !== 412 && err.status !== 404 && err.status !== 409) return false
    drop()
    trouble.value = `Undoing ${last.says} is not possible any more: ${err.status === 412 ? 'somebody has changed it since. Its change log leads back to any version.' : err.message}`
    return true
  })
}
