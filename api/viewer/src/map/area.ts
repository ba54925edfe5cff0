import { computed, signal } from '@preact/signals'
import type { Ring } from '../state/address'
import { ask, question } from '../state/store'
import { addDrawing, type Drawing } from './drawings'
import { map } from './instance'

// An area that is drawn on the map, corner by corner: by clicks, or with keys by
// moving the map and setting a corner at its middle.

export const drawing = signal(false)
export const corners = signal<Ring>([])

export function startArea() {
  corners.value = []
  drawing.value = true
  map.value?.getCanvas().focus()
}

export const drawn = (at: [number, number]) => { corners.value = [...corners.value, [at[0], at[1]]] }

export function cornerAtMiddle() {
  const c = map.value?.getCenter()
  if (c) drawn([c.lng, c.lat])
}

export function takeBackCorner() { corners.value = corners.value.slice(0, -1) }

export function endArea(keep: boolean) {
  if (keep && corners.value.length >= 3) ask({ inside: { kind: 'area', ring: corners.value } })
  drawing.value = false
  corners.value = []
}

const shown = computed<Drawing | null>(() => {
  const inside = question.value.inside
  let ring: Ring = drawing.value ? corners.value : inside.kind === 'area' ? inside.ring : []
  if (!drawing.value && inside.kind === 'box') {
    const [w, s, e, n] = inside.box
    ring = [[w, s], [e, s], [e, n], [w, n]]
  }
  if (!ring.length && !drawing.value) return null
  const line = ring.length > 1 ? [...ring, ring[0]!] : ring
  return {
    sources: {
      area: {
        type: 'geojson',
        data: { type: 'FeatureCollection', features: [
          ...(line.length > 1 ? [{ type: 'Feature' as const, properties: {}, geometry: { type: 'LineString' as const, coordinates: line } }] : []),
          ...(drawing.value ? ring.map((p) => ({ type: 'Feature' as const, properties: {}, geometry: { type: 'Point' as const, coordinates: p } })) : []),
        ] },
      },
    },
    layers: (look) => [
      { id: 'area-line', type: 'line', source: 'area', filter: ['==', ['geometry-type'], 'LineString'], paint: { 'line-color': look.area, 'line-width': 2, 'line-dasharray': [3, 1.5] } },
      { id: 'area-corners', type: 'circle', source: 'area', filter: ['==', ['geometry-type'], 'Point'], paint: { 'circle-color': look.area, 'circle-radius': 4 } },
    ],
    above: true,
  }
})

addDrawing('area', shown)

// whatIsSeen is the box of the map as it stands.
export function whatIsSeen(): [number, number, number, number] | null {
  const b = map.value?.getBounds()
  if (!b) return null
  const round = (n: number) => Number(n.toFixed(6))
  return [round(b.getWest()), round(b.getSouth()), round(b.getEast()), round(b.getNorth())]
}
