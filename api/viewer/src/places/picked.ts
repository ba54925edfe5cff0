import { computed, effect, signal } from '@preact/signals'
import type { Geometry, Position } from 'geojson'
import { goTo } from '../map/camera'
import { addDrawing, type Drawing } from '../map/drawings'
import { map } from '../map/instance'
import { plate } from '../map/kite'
import { isAbort, item } from '../service'
import { asOf, param, view } from '../state/store'
import { tell } from '../ui/toast'

// The place that is picked, by its number; the address keeps it.
const at = param('places.at')
export const picked = computed(() => /^\d{1,15}$/.test(at.value) ? Number(at.value) : null)
export const pick = (id: number | null) => { at.value = id === null ? '' : String(id) }

const outline = signal<{ id: number; geometry: Geometry } | null>(null)

const positions = (g: Geometry): Position[] => g.type === 'GeometryCollection' ? g.geometries.flatMap(positions) : (g.coordinates as never[]).flat(Infinity).reduce<Position[]>((out, n, i) => { if (i % 2) out.at(-1)!.push(n); else out.push([n]); return out }, [])

// The outline is asked for once the view is open, and gone to.
effect(() => {
  const id = view.value === 'places' ? picked.value : null
  if (id === null) {
    outline.value = null
    return
  }
  const asking = new AbortController()
  item('targets', id, { as_of: asOf.value }, asking.signal).then(({ body }) => {
    if (asking.signal.aborted) return
    outline.value = { id, geometry: body.geometry }
  }, (err: Error) => {
    if (isAbort(err) || asking.signal.aborted) return
    tell(err.message, 'error')
    pick(null)
  })
  return () => asking.abort()
})

let last: number | null = null
effect(() => {
  const o = outline.value
  if (!o || !map.value) { if (!o) last = null; return }
  if (o.id === last) return
  last = o.id
  goTo(positions(o.geometry) as [number, number][], 19)
})

// The trees of the place that is open, ringed: those over it with a wide ring,
// those that only reach it with a thin one.
const trees = signal<readonly (readonly [number, number, boolean])[]>([])
export function showTrees(list: readonly (readonly [number, number, boolean])[]) {
  trees.value = list
  return () => { trees.value = [] }
}

addDrawing('places-trees', computed<Drawing | null>(() => {
  if (!outline.value || !trees.value.length) return null
  return {
    above: true,
    sources: { 'places-trees': { type: 'geojson', data: { type: 'FeatureCollection', features: trees.value.map(([x, y, over]) => ({ type: 'Feature' as const, geometry: { type: 'Point' as const, coordinates: [x, y] }, properties: { over } })) } } },
    layers: (look) => [{ id: 'places-trees-ring', type: 'circle', source: 'places-trees', paint: { 'circle-color': 'rgba(0,0,0,0)', 'circle-radius': ['case', ['get', 'over'], 8, 5], 'circle-stroke-color': look.chosen, 'circle-stroke-width': ['case', ['get', 'over'], 2.5, 1] } }],
  }
}))

// The first places of the list, each with its number in the middle of it.
const numbered = signal<readonly { id: number; geometry: Geometry }[]>([])
export function showNumbers(list: typeof numbered.value) {
  numbered.value = list.slice(0, 20)
  return () => { numbered.value = [] }
}

const middle = (g: Geometry): Position => {
  const all = positions(g.type === 'MultiPolygon' ? { type: 'Polygon', coordinates: g.coordinates[0]! } : g)
  if (/Line/.test(g.type)) return all[all.length >> 1]!
  return [0, 1].map((i) => (Math.min(...all.map((p) => p[i]!)) + Math.max(...all.map((p) => p[i]!))) / 2)
}

addDrawing('places-numbers', computed<Drawing | null>(() => {
  const list = numbered.value
  if (!list.length) return null
  return {
    above: true,
    sources: { 'places-numbers': { type: 'geojson', data: { type: 'FeatureCollection', features: list.map(({ id, geometry }, i) => ({ type: 'Feature' as const, id, geometry: { type: 'Point' as const, coordinates: middle(geometry) }, properties: { place: i + 1, icon: plate(i + 1) } })) } } },
    layers: () => [{ id: 'places-numbers', type: 'symbol', source: 'places-numbers', layout: { 'icon-image': ['get', 'icon'], 'icon-allow-overlap': true, 'icon-ignore-placement': true, 'symbol-sort-key': ['-', 0, ['get', 'place']] } }],
  }
}))

addDrawing('places-picked', computed<Drawing | null>(() => {
  const o = outline.value
  if (!o) return null
  return {
    sources: { 'places-picked': { type: 'geojson', data: { type: 'Feature', geometry: o.geometry, properties: {} } } },
    layers: (look) => [
      { id: 'places-picked-edge', type: 'line', source: 'places-picked', layout: { 'line-join': 'round' }, paint: { 'line-color': look.ground, 'line-width': 7 } },
      { id: 'places-picked-line', type: 'line', source: 'places-picked', layout: { 'line-join': 'round' }, paint: { 'line-color': look.chosen, 'line-width': 3.5 } },
      { id: 'places-picked-point', type: 'circle', source: 'places-picked', filter: ['==', ['geometry-type'], 'Point'], paint: { 'circle-color': 'rgba(0,0,0,0)', 'circle-radius': 9, 'circle-stroke-color': look.chosen, 'circle-stroke-width': 3 } },
    ],
  }
}))

// pickPlaces lets a click on the map pick what lies beneath it, where it is not on
// a tree, which opens by itself.
export function pickPlaces() {
  return effect(() => {
    const m = map.value
    if (!m) return
    const near = 5
    const found = (e: { point: { x: number; y: number } }, names: string[]) => {
      const layers = names.filter((l) => m.getLayer(l))
      return layers.length ? m.queryRenderedFeatures([[e.point.x - near, e.point.y - near], [e.point.x + near, e.point.y + near]], { layers }) : []
    }
    const sub = m.on('click', (e) => {
      const number = found(e, ['places-numbers'])[0]
      if (number) return pick(Number(number.id))
      if (found(e, ['leaders', 'trees']).length) return
      const place = found(e, ['places-points', 'places-wires', 'places-walks', 'places-roads', 'places-buildings', 'places-ground'])[0]
      if (place?.id !== undefined) pick(Number(place.id))
    })
    return () => sub.unsubscribe()
  })
}
