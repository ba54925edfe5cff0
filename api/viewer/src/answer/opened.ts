import { effect, signal } from '@preact/signals'
import type { FeatureCollection } from 'geojson'
import { isAbort, ofTree, Problem, tree as askTree, type TreeProps, type ZoneProps } from '../service'
import { asOf, edited, ready, tree } from '../state/store'
import { tell } from '../ui/toast'

// The tree that is opened, with the ground its parts can reach; null while it is
// asked for.
export interface Opened { id: number; at: [number, number]; p: TreeProps; zones: FeatureCollection }

export const opened = signal<Opened | null>(null)
export const missing = signal<number | null>(null) // what is asked for and is not there

// The tree that was opened last: to its line one comes back.
let last: number | null = null
export const lastOpened = () => last

effect(() => {
  const id = tree.value, at = asOf.value
  missing.value = null
  edited.value // the tree may be another by now
  if (id === null) {
    opened.value = null
    return
  }
  last = id
  // Before the first run of its site nothing is derived of it.
  if (!ready.value) return
  const asking = new AbortController()
  Promise.all([askTree(id, at, asking.signal), ofTree<ZoneProps>('zones', id, at, asking.signal)]).then(([t, zones]) => {
    if (asking.signal.aborted) return
    opened.value = { id, at: t.body.geometry.coordinates as [number, number], p: t.body.properties, zones: { type: 'FeatureCollection', features: zones.features } }
  }).catch((err: Error) => {
    if (isAbort(err) || asking.signal.aborted) return
    if (err instanceof Problem && err.status === 404) { missing.value = id; return }
    tell(err.message, 'error')
    tree.value = null
  })
  return () => asking.abort()
})
