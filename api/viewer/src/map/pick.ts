import type { Map, MapMouseEvent } from 'maplibre-gl'
import { batch } from '@preact/signals'
import { hovered, tree } from '../state/store'
import { pointed } from './seen'
import { drawn, drawing } from './area'

const near = 5

// pickTrees points at trees and opens them with the pointer, together with the
// list. Where marks stand for many trees a click goes closer instead. A view that
// wants clicks for itself sets taken.
export const clicks = { taken: false, cursor: '' }

export function pickTrees(map: Map) {
  const at = (e: MapMouseEvent) => {
    const layers = ['leaders', 'trees'].filter((l) => map.getLayer(l))
    if (!layers.length) return null
    const found = map.queryRenderedFeatures([[e.point.x - near, e.point.y - near], [e.point.x + near, e.point.y + near]], { layers })
    const f = found.find((f) => f.layer.id === 'leaders') ?? found[0]
    if (!f || f.geometry.type !== 'Point') return null
    return { id: Number(f.layer.id === 'leaders' ? f.properties.id : f.id), many: Number(f.properties.trees ?? 1), at: f.geometry.coordinates as [number, number] }
  }
  let frame = 0
  map.on('mousemove', (e) => {
    cancelAnimationFrame(frame)
    if (map.isMoving() || e.originalEvent.buttons) return // nobody points while the map moves
    frame = requestAnimationFrame(() => {
      const found = drawing.value ? null : at(e)
      map.getCanvas().style.cursor = drawing.value ? 'crosshair' : clicks.cursor || (found ? 'pointer' : '')
      const one = found && found.many === 1 ? found : null
      if ((one?.id ?? null) === hovered.peek()) return
      batch(() => { pointed.value = one; hovered.value = one?.id ?? null })
    })
  })
  map.on('mouseout', () => { hovered.value = null })
  map.on('click', (e) => {
    if (drawing.value) return drawn(e.lngLat.toArray())
    if (clicks.taken || map.getLayer('places-numbers') && map.queryRenderedFeatures([[e.point.x - near, e.point.y - near], [e.point.x + near, e.point.y + near]], { layers: ['places-numbers'] }).length) return
    const found = at(e)
    if (!found) return
    if (found.many > 1) return void map.easeTo({ center: found.at, zoom: Math.min(map.getZoom() + 2, 15) })
    tree.value = found.id
  })
}
