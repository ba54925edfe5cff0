import type { ExpressionSpecification, LayerSpecification, SourceSpecification, StyleSpecification } from 'maplibre-gl'
import type { FeatureCollection } from 'geojson'
import { base } from '../service'
import { busySteps, hourSteps, type Look } from './look'

// The style of the map as one pure function of what is to be seen. The map takes
// the difference to the style before.

type X = ExpressionSpecification

export interface Seen {
  look: Look
  site: string
  filter: string // CQL2 of the trees
  asOf: string
  hour: boolean // trees show how many people are under them in an hour (see busy.ts)
  shade: X // a colour of a tree by its values in the tiles
  sortBy: string // the value that the uppermost has most of
  leaders: FeatureCollection // the first trees of the answer
  zones: FeatureCollection // of the tree that is opened
  marks: FeatureCollection // what is pointed at and what is opened
  basemap: string // address of raster tiles, where the operator set one
  below: { sources: Record<string, SourceSpecification>; layers: LayerSpecification[] }
  above: { sources: Record<string, SourceSpecification>; layers: LayerSpecification[] }
}

export const tiles = (collection: string, maxzoom: number, minzoom: number, parameters: Record<string, string>): SourceSpecification => {
  const query = new URLSearchParams(Object.entries(parameters).filter(([, v]) => v)).toString()
  return {
    type: 'vector', minzoom, maxzoom,
    tiles: [`${location.origin}${base}/collections/${collection}/tiles/WebMercatorQuad/{z}/{y}/{x}${query ? '?' + query : ''}`],
  }
}

const kindIs = (...kinds: string[]): X => ['in', ['get', 'kind'], ['literal', kinds]]
const shapeIs = (shape: string): X => ['==', ['geometry-type'], shape]

// What is known of a place: from the weeks of those on the screen (see busy.ts),
// else as recorded.
const present: X = ['coalesce', ['feature-state', 'people'], ['get', 'people_present'], -1]
const busyShade = (look: Look): X => ['step', present, look.busy[0], busySteps[0], look.busy[1], busySteps[1], look.busy[2], busySteps[2], look.busy[3], busySteps[3], look.busy[4]]

const treeRadius: X = ['interpolate', ['linear'], ['zoom'],
  8, ['min', 9, ['+', 2, ['log10', ['coalesce', ['get', 'trees'], 1]]]],
  14, ['min', 9, ['+', 2, ['*', 1.5, ['log10', ['coalesce', ['get', 'trees'], 1]]]]], 18, 7]

// Trees by the hour: the more people, the darker and the larger.
const then: X = ['coalesce', ['feature-state', 'hour'], -1]
const hourShade = (look: Look): X => ['step', then, look.ground, 0, look.rank[0], hourSteps[0], look.rank[1], hourSteps[1], look.rank[2], hourSteps[2], look.rank[3], hourSteps[3], look.rank[4]]
const hourSizes = (least: number, most: number): X => ['step', then, least, hourSteps[0], least + (most - least) / 4, hourSteps[1], least + (most - least) / 2, hourSteps[2], least + 3 * (most - least) / 4, hourSteps[3], most]
const hourRadius: X = ['interpolate', ['linear'], ['zoom'], 8, hourSizes(1.5, 5), 14, hourSizes(1.5, 6), 18, hourSizes(4, 14)]

export function styleOf(s: Seen): StyleSpecification {
  const { look } = s
  const of: Record<string, string> = { site: s.site, as_of: s.asOf }
  const sources: Record<string, SourceSpecification> = s.site ? {
    targets: tiles('targets', 18, 13, of),
    trees: tiles('trees', 18, 0, { ...of, filter: s.filter }),
  } : {}
  const places: LayerSpecification[] = s.site ? [
    { id: 'places-ground', type: 'fill', source: 'targets', 'source-layer': 'targets', minzoom: 13, filter: ['all', shapeIs('Polygon'), ['!', kindIs('building')]], paint: { 'fill-color': busyShade(look), 'fill-opacity': 0.75 } },
    { id: 'places-buildings', type: 'fill', source: 'targets', 'source-layer': 'targets', minzoom: 13, filter: ['all', shapeIs('Polygon'), kindIs('building')], paint: { 'fill-color': look.building, 'fill-opacity': 0.7 } },
    { id: 'places-outline', type: 'line', source: 'targets', 'source-layer': 'targets', minzoom: 14, filter: shapeIs('Polygon'), paint: { 'line-color': look.line, 'line-width': 0.8 } },
    { id: 'places-roads', type: 'line', source: 'targets', 'source-layer': 'targets', minzoom: 13, filter: ['all', shapeIs('LineString'), ['!', kindIs('utility_line', 'walkway')]], layout: { 'line-cap': 'round' }, paint: { 'line-color': busyShade(look), 'line-width': ['interpolate', ['exponential', 1.6], ['zoom'], 13, 1.5, 18, 8] } },
    { id: 'places-walks', type: 'line', source: 'targets', 'source-layer': 'targets', minzoom: 14, filter: ['all', shapeIs('LineString'), kindIs('walkway')], paint: { 'line-color': busyShade(look), 'line-width': ['interpolate', ['linear'], ['zoom'], 14, 1.25, 18, 3.5], 'line-dasharray': [2, 1] } },
    { id: 'places-wires', type: 'line', source: 'targets', 'source-layer': 'targets', minzoom: 14, filter: ['all', shapeIs('LineString'), kindIs('utility_line')], paint: { 'line-color': look.wire, 'line-width': 1.5, 'line-dasharray': [5, 2, 1, 2] } },
    { id: 'places-points', type: 'circle', source: 'targets', 'source-layer': 'targets', minzoom: 15, filter: shapeIs('Point'), paint: { 'circle-color': busyShade(look), 'circle-radius': ['interpolate', ['linear'], ['zoom'], 15, 1.5, 19, 4], 'circle-stroke-color': look.line, 'circle-stroke-width': 0.75 } },
  ] : []
  // The first trees have marks of their own.
  const led = s.leaders.features.map((f) => f.properties?.id as number)
  const trees: LayerSpecification[] = s.site ? [
    { id: 'trees', type: 'circle', source: 'trees', 'source-layer': 'trees', filter: ['any', ['>', ['coalesce', ['get', 'trees'], 1], 1], ['!', ['in', ['id'], ['literal', led]]]], layout: { 'circle-sort-key': ['coalesce', ['get', s.sortBy], 0] }, paint: { 'circle-color': s.hour ? hourShade(look) : s.shade, 'circle-radius': s.hour ? hourRadius : treeRadius, 'circle-stroke-color': s.hour ? ['case', ['<', then, 0], look.line, look.edge] : look.edge, 'circle-stroke-width': 0.75 } },
  ] : []
  const part = (name: string): X => ['==', ['get', 'part'], name]
  return {
    version: 8,
    sources: {
      ...(s.basemap ? { basemap: { type: 'raster', tiles: [s.basemap], tileSize: 256 } as SourceSpecification } : {}),
      ...sources, ...s.below.sources,
      zones: { type: 'geojson', data: s.zones },
      leaders: { type: 'geojson', data: s.leaders },
      marks: { type: 'geojson', data: s.marks },
      ...s.above.sources,
    },
    layers: [
      { id: 'ground', type: 'background', paint: { 'background-color': look.ground } },
      ...(s.basemap ? [{ id: 'basemap', type: 'raster', source: 'basemap', paint: { 'raster-opacity': 0.5, 'raster-saturation': -0.7 } } as LayerSpecification] : []),
      ...places, ...s.below.layers,
      { id: 'zone-limb', type: 'fill', source: 'zones', filter: part('limb'), paint: { 'fill-color': look.zone, 'fill-opacity': 0.28 } },
      { id: 'zone-crown', type: 'fill', source: 'zones', filter: part('crown'), paint: { 'fill-color': look.zone, 'fill-opacity': 0.12 } },
      { id: 'zone-crown-edge', type: 'line', source: 'zones', filter: part('crown'), paint: { 'line-color': look.zone, 'line-width': 1.5 } },
      { id: 'zone-reach', type: 'line', source: 'zones', filter: part('whole tree'), paint: { 'line-color': look.zone, 'line-width': 1.5, 'line-dasharray': [2, 4] } },
      ...trees,
      { id: 'leaders', type: 'symbol', source: 'leaders', layout: { 'icon-image': ['get', 'icon'], 'icon-anchor': 'bottom', 'icon-allow-overlap': true, 'icon-ignore-placement': true, 'symbol-sort-key': ['-', 0, ['get', 'place']] } },
      { id: 'marks', type: 'circle', source: 'marks', paint: { 'circle-color': 'rgba(0,0,0,0)', 'circle-radius': 9, 'circle-stroke-color': ['case', ['get', 'opened'], look.chosen, look.ink], 'circle-stroke-width': ['case', ['get', 'opened'], 3, 2] } },
      ...s.above.layers,
    ],
  }
}
