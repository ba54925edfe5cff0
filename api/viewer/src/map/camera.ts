import { effect } from '@preact/signals'
import { LngLatBounds, type Map } from 'maplibre-gl'
import { rows } from '../answer/answer'
import { missing } from '../answer/opened'
import { camera, site, tree } from '../state/store'
import { map as instance } from './instance'

// sheetOver is how much of the map's height lies beneath the panel of a phone.
const sheetOver = () => matchMedia('(max-width: 45rem)').matches ? Number(document.getElementById('panel')?.offsetHeight ?? 0) : 0

// inSight tells which places of the map can be seen.
export function inSight(map: Map) {
  const { clientWidth: w, clientHeight: h } = map.getContainer()
  const a = map.unproject([0, 0]), b = map.unproject([w, Math.max(h - sheetOver(), 0)])
  return ([lon, lat]: readonly [number, number]) => lon >= a.lng && lon <= b.lng && lat <= a.lat && lat >= b.lat
}

// roomAround keeps what is looked at clear of what lies over the map.
export function roomAround(map: Map) {
  const { clientWidth: w, clientHeight: h } = map.getContainer()
  const sheet = sheetOver()
  const side = Math.min(60, w / 8)
  const free = Math.max(h - sheet, h / 4)
  return { left: side, right: side, top: Math.min(70, free / 4), bottom: Math.min(h - 40, sheet + Math.min(60, free / 5)) }
}

// Whether the map has been put anywhere yet. Until then it jumps: a style that is
// loaded ends the flight of a map that has not moved.
let placed = false

export function goTo(points: readonly [number, number][], closest = 17) {
  if (instance.value) fit(instance.value, points, closest, true)
}

function fit(map: Map, points: readonly [number, number][], closest: number, fly: boolean) {
  if (!points.length) return
  const box = new LngLatBounds()
  for (const p of points) box.extend(p)
  const animate = fly && placed && !matchMedia('(prefers-reduced-motion: reduce)').matches
  placed = true
  map.fitBounds(box, { padding: roomAround(map), maxZoom: closest, animate, duration: 500 })
}

// openCamera opens the map where the address says, else on the answer, and keeps
// in the address where it has gone.
export function openCamera(map: Map) {
  let moving = false
  let at = ''
  placed = false
  map.on('moveend', () => {
    if (!placed) return
    const c = map.getCenter()
    moving = true
    camera.value = { lon: c.lng, lat: c.lat, zoom: map.getZoom() }
    moving = false
  })
  // Somebody went a step back, or the page was opened by a link.
  const stopFollowing = effect(() => {
    const c = camera.value
    if (!c || moving) return
    placed = true
    const now = map.getCenter()
    if (Math.abs(now.lng - c.lon) > 1e-5 || Math.abs(now.lat - c.lat) > 1e-5 || Math.abs(map.getZoom() - c.zoom) > 0.01) map.jumpTo({ center: [c.lon, c.lat], zoom: c.zoom })
  })
  let waits = false // for a tree that is opened, which is gone to
  const stopOpening = effect(() => {
    const lost = missing.value !== null
    if (!rows.value.length || !site.value || at === site.value && !(waits && lost)) return
    const first = at === ''
    at = site.value
    if (first && camera.peek()) return
    waits = first && tree.peek() !== null && !lost
    if (waits) return
    fit(map, rows.value.slice(0, 2000).map((r) => r.at), 17, false)
  })
  return () => { stopFollowing(); stopOpening() }
}
