import { batch, computed, effect, signal } from '@preact/signals'
import type { Geometry } from 'geojson'
import { item, type Feature, type Sent } from '../service'
import { asOf, param, site, view } from '../state/store'
import { tell } from '../ui/toast'
import { nameOf } from '../ui/words'
import { isCollection, oneOf, readField, specsOf, textOf, type Collection, type Spec, type Value } from './schema'

export type Props = Record<string, Value>
type Texts = Record<string, string>

// Draft is a feature in hand: as it was read, and as it is typed and drawn now. It
// stays when one looks at another view.
export interface Draft {
  c: Collection
  id: number | null // none yet for a new one
  etag: string | null
  version: number | null
  specs: readonly Spec[]
  was: Texts
  now: Texts
  wasShape: Geometry | null
  shape: Geometry | null // of trees and places: cuts and visits are where their tree is
  at: [number, number] | null // where it is to be seen
}

export const draft = signal<Draft | null>(null)
export const refused = signal<{ property: string; text: string } | null>(null) // by the service
export const touched = signal<ReadonlySet<string>>(new Set())
export const opening = signal(false)

// What is picked, such as trees/12; the address keeps it.
export const pickedAt = param('edit.at')
export function picked(): { c: Collection; id: number } | null {
  const [c, id] = pickedAt.value.split('/')
  return isCollection(c) && /^\d{1,15}$/.test(id ?? '') ? { c, id: Number(id) } : null
}

export const ownShape = (c: Collection) => c === 'trees' || c === 'targets'

const same = (a: Geometry | null, b: Geometry | null) => JSON.stringify(a) === JSON.stringify(b)

// changes are the values that differ from what was read, and what is wrong with
// any of what is typed.
export const changes = computed(() => {
  const d = draft.value
  const values: Props = {}, faults: Texts = {}
  if (!d) return { values, faults, shape: false, any: false }
  for (const s of d.specs) {
    const text = d.now[s.name] ?? ''
    const { value, fault } = readField(s, text)
    if (fault) faults[s.name] = fault
    if (text.trim() !== (d.was[s.name] ?? '')) values[s.name] = value
  }
  const shape = ownShape(d.c) && !same(d.shape, d.wasShape)
  if (ownShape(d.c) && !d.shape) faults.geometry = 'Geometry is empty: place it on the map'
  return { values, faults, shape, any: shape || Object.keys(values).length > 0 }
})

// faultOf is what to say at a field: as soon as it was typed into.
export const faultOf = (name: string) => refused.value?.property === name ? refused.value.text : touched.value.has(name) ? changes.value.faults[name] ?? '' : ''

export const nameOfDraft = (d: Draft) => `${d.id === null ? 'new ' : ''}${oneOf[d.c]}${d.id === null ? '' : d.c === 'cuts' || d.c === 'visits' ? ` ${d.id}` : ` ${d.was.name || nameOf({ tag: d.was.tag || null, source_id: d.was.source_id || null }, d.id)}`}`

const textsOf = (specs: readonly Spec[], p: Props): Texts => Object.fromEntries(specs.map((s) => [s.name, textOf(p[s.name])]))

export async function draftOf(c: Collection, got: Sent<Feature<Props, Geometry | null>>): Promise<Draft> {
  const specs = await specsOf(c)
  const { id, geometry, properties } = got.body
  const texts = textsOf(specs, properties)
  const point = geometry?.type === 'Point' ? geometry.coordinates as [number, number] : null
  return { c, id, etag: got.etag, version: Number(properties.version), specs, was: texts, now: texts, wasShape: ownShape(c) ? geometry : null, shape: ownShape(c) ? geometry : null, at: point }
}

function take(d: Draft | null) {
  batch(() => { draft.value = d; refused.value = null; touched.value = new Set() })
}

// hold takes a feature in hand as it was just read.
export const hold = (d: Draft) => batch(() => { pickedAt.value = `${d.c}/${d.id}`; take(d) })

// open reads a feature to correct it; what is in hand is dropped.
export async function open(c: Collection, id: number) {
  batch(() => { take(null); pickedAt.value = `${c}/${id}`; opening.value = true })
  try {
    const d = await draftOf(c, await item<Props, Geometry | null>(c, id))
    if (pickedAt.value === `${c}/${id}`) take(d)
    return d
  } finally {
    opening.value = false
  }
}

// begin takes a new feature in hand.
export async function begin(c: Collection, tree?: { id: number; at: [number, number] | null }) {
  const specs = await specsOf(c)
  const was = textsOf(specs, {})
  const now = { ...was, ...Object.fromEntries(specs.filter((s) => s.default).map((s) => [s.name, s.default!])) }
  if ('site' in now) now.site = site.value
  if (tree) now.tree_id = String(tree.id)
  if (c === 'visits') now.visited_on = new Date().toLocaleDateString('sv')
  batch(() => {
    pickedAt.value = ''
    take({ c, id: null, etag: null, version: null, specs, was: now, now, wasShape: null, shape: null, at: tree?.at ?? null })
  })
}

export function close() {
  batch(() => { take(null); pickedAt.value = '' })
}

export function type(name: string, text: string) {
  const d = draft.value
  if (!d) return
  batch(() => {
    draft.value = { ...d, now: { ...d.now, [name]: text } }
    touched.value = new Set(touched.value).add(name)
    if (refused.value?.property === name) refused.value = null
  })
}

export function draw(shape: Geometry) {
  const d = draft.value
  if (!d) return
  batch(() => {
    draft.value = { ...d, shape }
    if (refused.value?.property === 'geometry') refused.value = null
  })
}

// What is typed and not saved is not lost with the page, nor forgotten with the view.
addEventListener('beforeunload', (e) => { if (changes.value.any) e.preventDefault() })
let before = view.peek()
effect(() => {
  const now = view.value
  const d = draft.peek()
  if (before === 'edit' && now !== 'edit' && d && changes.peek().any) tell(`The ${nameOfDraft(d)} is not saved yet: it waits under Edit.`)
  before = now
})
// The past is not edited.
effect(() => { if (asOf.value) draft.value = null })
