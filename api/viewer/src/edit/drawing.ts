import { batch, computed, effect, signal } from '@preact/signals'
import type { MapMouseEvent, MapTouchEvent } from 'maplibre-gl'
import type { Feature, Geometry } from 'geojson'
import { addDrawing, type Drawing } from '../map/drawings'
import { map } from '../map/instance'
import { clicks } from '../map/pick'
import { view } from '../state/store'
import { draft, draw } from './draft'
import type { Collection } from './schema'
import { addCorner, canTake, cornersOf, middlesOf, moveCorner, place, shift, takeCorner, type Corner } from './shape'

// Places and shapes on the map: a point by a click, a line or an area corner by
// corner; what is there moves by its corners. Everything a pointer does, buttons
// and keys do too (place.tsx).

type Kind = 'Point' | 'LineString' | 'Polygon'
export const drawing = signal<Kind | null>(null) // what clicks draw just now
export const laid = signal<readonly [number, number][]>([]) // corners so far
export const chosen = signal(0) // among the corners

export const corners = computed(() => cornersOf(draft.value?.shape ?? null))
export const corner = computed<Corner | undefined>(() => corners.value[Math.min(chosen.value, corners.value.length - 1)])

// aim is the middle of what is seen of the map, in its pixels: on a phone the sheet
// lies over its lower part.
export function aim(): { x: number; y: number } {
  const { clientWidth: w = 0, clientHeight: h = 0 } = map.value?.getContainer() ?? {}
  const sheet = matchMedia('(max-width: 45rem)').matches ? document.getElementById('panel')?.offsetHeight ?? 0 : 0
  return { x: w / 2, y: (sheet < h - 80 ? h - sheet : h) / 2 }
}

export const middle = (): [number, number] | null => {
  const { x, y } = aim(), m = map.value
  return m ? place(m.unproject([x, y]).toArray()) : null
}

export function startDrawing(kind: Kind) {
  batch(() => { drawing.value = kind; laid.value = [] })
  map.value?.getCanvas().focus()
}

export function stopDrawing() { batch(() => { drawing.value = null; laid.value = [] }) }

// With what is in hand goes what was being drawn of it.
effect(() => { if (!draft.value) { stopDrawing(); chosen.value = 0 } })

export function lay(at: readonly [number, number]) {
  if (drawing.value === 'Point') {
    putPoint(at)
    stopDrawing()
  } else laid.value = [...laid.value, place(at)]
}

export const fewest: Record<Kind, number> = { Point: 1, LineString: 2, Polygon: 3 }

export function finishDrawing() {
  const list = laid.value, kind = drawing.value
  if (!kind || list.length < fewest[kind]) return
  batch(() => {
    draw(kind === 'Polygon' ? { type: 'Polygon', coordinates: [[...list, list[0]!]] } : { type: 'LineString', coordinates: [...list] })
    chosen.value = 0
    stopDrawing()
  })
}

export const putPoint = (at: readonly [number, number]) => draw({ type: 'Point', coordinates: place(at) })

export function putCorner(to: readonly [number, number]) {
  const g = draft.value?.shape, c = corner.value
  if (g && c) draw(moveCorner(g, c, to))
}

export const nudge = (east: number, north: number) => { if (corner.value) putCorner(shift(corner.value.at, east, north)) }

export function splitAfter() {
  const g = draft.value?.shape, c = corner.value
  const m = g && c && middlesOf(g).find((m) => m.part === c.part && m.i === c.i)
  if (!m) return
  batch(() => { draw(addCorner(g, m, m.at)); chosen.value++ })
}

export const mayTake = computed(() => { const g = draft.value?.shape, c = corner.value; return !!g && !!c && canTake(g, c) })
export function takeOut() {
  const g = draft.value?.shape, c = corner.value
  if (g && c && mayTake.value) draw(takeCorner(g, c))
}

const feature = (geometry: Geometry, properties: Record<string, unknown> = {}): Feature => ({ type: 'Feature', geometry, properties })
const dot = (at: readonly [number, number], properties: Record<string, unknown>) => feature({ type: 'Point', coordinates: [...at] }, properties)

const shown = computed<Drawing | null>(() => {
  const d = draft.value
  if (view.value !== 'edit' || !d) return null
  const out: Feature[] = []
  if (drawing.value && drawing.value !== 'Point') {
    const list = laid.value
    if (list.length > 1) out.push(feature({ type: 'LineString', coordinates: drawing.value === 'Polygon' ? [...list, list[0]!] : [...list] }))
    out.push(...list.map((at) => dot(at, { what: 'corner' })))
  } else if (d.shape) {
    if (d.shape.type !== 'Point' && d.shape.type !== 'MultiPoint') out.push(feature(d.shape))
    out.push(...middlesOf(d.shape).map((m) => dot(m.at, { what: 'middle' })))
    out.push(...corners.value.map((c) => dot(c.at, { what: c === corner.value ? 'chosen' : 'corner' })))
  } else if (d.at) out.push(dot(d.at, { what: 'here' }))
  const is = (...what: string[]) => ['in', ['get', 'what'], ['literal', what]] as never
  return {
    above: true,
    sources: { edit: { type: 'geojson', data: { type: 'FeatureCollection', features: out } } },
    layers: (look) => [
      { id: 'edit-ground', type: 'fill', source: 'edit', filter: ['==', ['geometry-type'], 'Polygon'], paint: { 'fill-color': look.area, 'fill-opacity': 0.2 } },
      { id: 'edit-edge', type: 'line', source: 'edit', filter: ['!=', ['geometry-type'], 'Point'], layout: { 'line-join': 'round' }, paint: { 'line-color': look.area, 'line-width': 3 } },
      { id: 'edit-middle', type: 'circle', source: 'edit', filter: is('middle'), paint: { 'circle-color': look.ground, 'circle-radius': 3.5, 'circle-stroke-color': look.area, 'circle-stroke-width': 1.5 } },
      { id: 'edit-corner', type: 'circle', source: 'edit', filter: is('corner', 'chosen', 'here'), paint: { 'circle-color': ['case', is('here'), 'rgba(0,0,0,0)', look.area], 'circle-radius': ['case', is('corner'), 6, 8], 'circle-stroke-color': ['case', is('chosen'), look.chosen, look.ground], 'circle-stroke-width': ['case', is('chosen'), 3.5, 1.5] } },
    ],
  }
})

addDrawing('edit', shown)

const near = 14 // pixels, for fingers too
const placeLayers = ['places-points', 'places-wires', 'places-walks', 'places-roads', 'places-buildings', 'places-ground']

// editOnMap takes the map's pointer while the view is open: onPick is told which
// feature was clicked.
export function editOnMap(onPick: (c: Collection, id: number) => void) {
  clicks.taken = true
  const stopCursor = effect(() => { clicks.cursor = drawing.value ? 'crosshair' : '' })
  const stop = effect(() => {
    const m = map.value
    if (!m) return
    type Pointed = MapMouseEvent | MapTouchEvent
    const closest = (e: Pointed, list: readonly Corner[], within: number) => {
      let best = -1, least = within
      list.forEach((c, i) => {
        const p = m.project(c.at), d = Math.hypot(p.x - e.point.x, p.y - e.point.y)
        if (d < least) { least = d; best = i }
      })
      return best
    }
    let dragging = false, moved = false
    const down = (e: Pointed) => {
      const g = draft.peek()?.shape
      moved = false
      if (!g || drawing.peek() || 'points' in e && e.points.length > 1) return
      let i = closest(e, corners.peek(), near)
      if (i < 0) {
        const between = middlesOf(g), k = closest(e, between, near)
        if (k < 0) return
        draw(addCorner(g, between[k]!, between[k]!.at))
        i = corners.peek().findIndex((c) => c.part === between[k]!.part && c.i === between[k]!.i + 1)
        moved = true
      }
      e.preventDefault() // the map stays
      chosen.value = i
      dragging = true
    }
    let from: { x: number; y: number } | null = null
    const move = (e: Pointed) => {
      if (!dragging) return
      from ??= e.point
      // A hand is never quite still.
      if (!moved && Math.hypot(e.point.x - from.x, e.point.y - from.y) < 3) return
      moved = true
      putCorner(e.lngLat.toArray())
    }
    const up = () => { dragging = false; from = null }
    const click = (e: MapMouseEvent) => {
      if (drawing.peek()) return lay(e.lngLat.toArray())
      if (moved || closest(e, corners.peek(), near) >= 0) return
      pickAt(e.point, onPick)
    }
    const key = (e: KeyboardEvent) => {
      if (!drawing.peek()) return
      if (e.key === 'Enter') { const at = middle(); if (at) lay(at) } else if (e.key === 'Escape') stopDrawing()
    }
    const subs = [m.on('mousedown', down), m.on('touchstart', down), m.on('mousemove', move), m.on('touchmove', move), m.on('mouseup', up), m.on('touchend', up), m.on('click', click)]
    m.getCanvas().addEventListener('keydown', key)
    return () => { subs.forEach((s) => s.unsubscribe()); m.getCanvas().removeEventListener('keydown', key) }
  })
  return () => { stop(); stopCursor(); stopDrawing(); clicks.taken = false; clicks.cursor = '' }
}

// pickAt finds the tree or place at a point of the map. Where a mark stands for many
// trees the map goes closer.
export function pickAt(point: { x: number; y: number }, onPick: (c: Collection, id: number) => void): boolean {
  const m = map.peek()
  if (!m) return false
  const found = (names: string[]) => {
    const layers = names.filter((l) => m.getLayer(l))
    return layers.length ? m.queryRenderedFeatures([[point.x - 6, point.y - 6], [point.x + 6, point.y + 6]], { layers })[0] : undefined
  }
  const t = found(['leaders']) ?? found(['trees'])
  if (t?.geometry.type === 'Point') {
    if (Number(t.properties.trees ?? 1) > 1) m.easeTo({ center: t.geometry.coordinates as [number, number], zoom: Math.min(m.getZoom() + 2, 16) })
    else onPick('trees', Number(t.layer.id === 'leaders' ? t.properties.id : t.id))
    return true
  }
  const target = found(placeLayers)
  if (target) onPick('targets', Number(target.id))
  return !!target
}
