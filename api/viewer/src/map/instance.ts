import { signal } from '@preact/signals'
import { Map, ScaleControl, setWorkerUrl } from 'maplibre-gl'
import { base } from '../service'

// The map itself, null until it is there. Views listen on it and draw by
// drawings.ts; they do not change its style.
export const map = signal<Map | null>(null)

// Developing, the library's worker comes from where npm put it.
setWorkerUrl(import.meta.env.DEV ? '/node_modules/maplibre-gl/dist/maplibre-gl-worker.mjs' : `${base}/map/worker.js`)

export function makeMap(container: HTMLElement): Map {
  const made = new Map({
    container, style: { version: 8, sources: {}, layers: [] }, attributionControl: false, maxZoom: 21, dragRotate: false, pitchWithRotate: false, touchPitch: false,
    fadeDuration: 0, renderWorldCopies: false,
    locale: { 'Map.Title': 'Map of trees and places' },
  })
  made.addControl(new ScaleControl({ unit: 'metric', maxWidth: 90 }), 'bottom-right')
  return made
}
