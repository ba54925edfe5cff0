import L from 'leaflet'
import { Kite } from './kite.js'
import * as look from './look.js'
import { pages } from './service.js'

// Targets are drawn from here on in; farther out they would only be a blur.
const targetZoom = 15
const zoomSteps = 20

// createMap draws what it is given on plain ground. choose is called with the
// id of a tree that was picked on the map.
export function createMap(element, choose) {
  const map = L.map(element, { renderer: L.canvas({ padding: 0.3 }), zoomControl: true, maxZoom: zoomSteps, zoomSnap: 0.5 })
  map.attributionControl.setPrefix('drawn with Leaflet')
  L.control.scale({ imperial: false }).addTo(map)
  map.setView([0, 0], 2)
  for (const name of ['targets', 'zones']) map.createPane(name)
  map.getPane('targets').style.zIndex = 300
  map.getPane('zones').style.zIndex = 350
  const ground = L.canvas({ pane: 'targets', padding: 0.3 })
  const above = L.canvas({ pane: 'zones', padding: 0.3 })

  const targets = L.geoJSON(null, {
    pane: 'targets', renderer: ground, interactive: false,
    style: (f) => look.target(f.properties.kind),
    pointToLayer: (f, at) => L.circleMarker(at, { radius: 3, pane: 'targets', renderer: ground, interactive: false }),
  }).addTo(map)
  const zones = L.geoJSON(null, { pane: 'zones', renderer: above, interactive: false, smoothFactor: 0, style: (f) => look.zone(f.properties.part) }).addTo(map)
  const trees = L.layerGroup().addTo(map)
  let marks = new Map()
  let chosen = null
  let asking = null

  async function loadTargets() {
    asking?.abort()
    if (map.getZoom() < targetZoom) {
      targets.clearLayers()
      element.dataset.targets = 'far'
      return
    }
    asking = new AbortController()
    const b = map.getBounds().pad(0.2)
    const clamp = (v, most) => Math.max(-most, Math.min(most, v)).toFixed(6)
    const bbox = [clamp(b.getWest(), 180), clamp(b.getSouth(), 90), clamp(b.getEast(), 180), clamp(b.getNorth(), 90)].join(',')
    try {
      const { features } = await pages('/collections/targets/items', { bbox, limit: 2000 }, 4, asking.signal)
      targets.clearLayers()
      targets.addData({ type: 'FeatureCollection', features })
      element.dataset.targets = features.length
    } catch (err) {
      if (err.name !== 'AbortError') console.warn(err.message)
    }
  }
  map.on('moveend', loadTargets)
  // The form above grows as it fills, and the map with the window.
  new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(element)

  function mark(f, i, n) {
    const { fill, size } = look.ranked(i, n)
    const isChosen = f.id === chosen
    return {
      radius: isChosen ? size + 3 : size, fillColor: isChosen ? look.ink().chosen : fill, fillOpacity: 1,
      color: look.ink().edge, weight: isChosen ? 2 : 1,
    }
  }

  let shown = []
  function restyle() {
    shown.forEach((f, i) => {
      const m = marks.get(f.id)
      const s = mark(f, i, shown.length)
      m.setRadius(s.radius)
      m.setStyle(s)
    })
    if (chosen !== null) marks.get(chosen)?.bringToFront()
    targets.setStyle((f) => look.target(f.properties.kind))
    zones.setStyle((f) => look.zone(f.properties.part))
  }
  look.onThemeChange(restyle)

  return {
    // show draws ranked trees, the first on top.
    show(features) {
      trees.clearLayers()
      zones.clearLayers()
      marks = new Map()
      chosen = null
      shown = features
      for (let i = features.length - 1; i >= 0; i--) {
        const f = features[i]
        const [lon, lat] = f.geometry.coordinates
        const m = new Kite([lat, lon], mark(f, i, features.length))
        m.on('click', () => choose(f.id))
        m.bindTooltip(`${f.properties.rank}. ${f.properties.tag || f.properties.source_id || f.id}`)
        marks.set(f.id, m)
        trees.addLayer(m)
      }
      if (features.length) {
        map.invalidateSize({ animate: false })
        const b = L.latLngBounds([...marks.values()].map((m) => m.getLatLng()))
        map.fitBounds(b.pad(0.08), { maxZoom: 19, animate: false })
      }
      element.dataset.trees = features.length
    },
    // choose marks a tree and draws the ground its parts can reach.
    async choose(id) {
      chosen = id
      zones.clearLayers()
      restyle()
      if (id === null) return
      const { features } = await pages('/collections/zones/items', { tree_id: id, limit: 200 }, 1)
      if (chosen !== id) return
      zones.addData({ type: 'FeatureCollection', features })
      element.dataset.zones = features.length
      if (features.length) map.fitBounds(zones.getBounds().pad(0.35), { maxZoom: zoomSteps - 1, animate: false })
    },
  }
}
