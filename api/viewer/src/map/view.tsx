import { effect, useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { opened } from '../answer/opened'
import { rows } from '../answer/answer'
import { camera, hovered, tree } from '../state/store'
import { whenIdle } from '../ui/idle'
import { Button } from '../ui/parts'
import { nameOf } from '../ui/words'
import { rowOf } from '../answer/answer'
import { colour } from './busy'
import { drawKites } from './kite'
import { corners, cornerAtMiddle, drawing, endArea, takeBackCorner } from './area'
import { map as instance, makeMap } from './instance'
import { Legend } from './legend'
import { pickTrees } from './pick'
import { goTo, openCamera } from './camera'
import { follow } from './seen'
import { Hours } from './hours'

// MapView holds the map, with what lies upon it: the key, the hour, the corners of
// an area that is being drawn.
export function MapView() {
  const ref = useRef<HTMLDivElement>(null)
  const failed = useSignal('')
  useEffect(() => {
    let map: ReturnType<typeof makeMap>
    try {
      map = makeMap(ref.current!)
    } catch {
      failed.value = 'This browser cannot draw the map (WebGL 2 is missing). The list beside works without it.'
      return
    }
    map.on('error', (e) => {
      const text = e.error?.message ?? ''
      if (!/abort/i.test(text)) console.warn(text)
    })
    // What is drawn is counted when there is time: it takes a look at every mark.
    const count = () => {
      const d = ref.current?.dataset
      if (!d || map.isMoving()) return
      d.idle = String(Number(d.idle ?? 0) + 1)
      d.trees = String(map.getLayer('trees') ? map.queryRenderedFeatures({ layers: ['trees', 'leaders'] }).length : 0)
      d.targets = String(map.getLayer('places-ground') ? map.queryRenderedFeatures({ layers: ['places-ground', 'places-buildings', 'places-roads', 'places-walks', 'places-points'] }).length : 0)
      d.numbers = String(map.getLayer('places-numbers') ? map.queryRenderedFeatures({ layers: ['places-numbers'] }).length : 0)
      d.zones = String(map.getLayer('zone-crown') ? map.queryRenderedFeatures({ layers: ['zone-limb', 'zone-crown', 'zone-reach'] }).length : 0)
    }
    map.on('idle', () => whenIdle(count))
    drawKites(map)
    pickTrees(map)
    const stop = [follow(map), colour(map), openCamera(map)]
    instance.value = map
    return () => { instance.value = null; stop.forEach((s) => s()); map.remove() }
  }, [])
  return (
    <section id="ground" aria-label="Map">
      {failed.value ? <p class="trouble">{failed.value}</p> : <div id="map" ref={ref} />}
      <div class="over-map top">
        <div class="zooms" role="group" aria-label="Zoom">
          <Button aria-label="Closer" onClick={() => instance.value?.zoomIn()}>+</Button>
          <Button aria-label="Farther" onClick={() => instance.value?.zoomOut()}>−</Button>
          <Button aria-label="All of the answer" onClick={() => goTo(rows.value.map((r) => r.at))}>◇</Button>
        </div>
        <Legend />
      </div>
      {credit && <p class="credit">Basemap: {credit}</p>}
      <Pointed />
      {drawing.value && <Corners />}
      <Hours />
    </section>
  )
}

const credit = document.documentElement.dataset.credit ?? ''

function Pointed() {
  const row = rowOf(hovered.value)
  if (!row) return null
  return <p class="pointed" aria-hidden="true"><b>{row.place}. {nameOf(row.p, row.id)}</b> {row.p.species}</p>
}

function Corners() {
  const n = corners.value.length
  return (
    <div class="over-map corners" role="group" aria-label="Draw an area">
      <p>{n ? `${n} ${n === 1 ? 'corner' : 'corners'}` : 'Click the corners, or move the map and set one at its middle.'}</p>
      <Button onClick={cornerAtMiddle}>Corner at the middle</Button>
      <Button disabled={!n} onClick={takeBackCorner}>Take one back</Button>
      <Button look="main" disabled={n < 3} onClick={() => endArea(true)}>Ask inside</Button>
      <Button onClick={() => endArea(false)}>Leave it</Button>
      <span class="middle" aria-hidden="true" />
    </div>
  )
}

// A tree that is opened is looked at closely, unless a link says from where. Its
// answer may be there before the map is.
let last = camera.peek() ? tree.peek() : null
effect(() => {
  const o = opened.value
  if (!instance.value) return
  if (!o || o.id === last) { if (tree.value === null) last = null; return }
  last = o.id
  const ring = o.zones.features.flatMap((f) => f.geometry.type === 'Polygon' ? (f.geometry.coordinates.flat() as [number, number][]) : [])
  goTo(ring.length ? ring : [o.at], 20)
})

