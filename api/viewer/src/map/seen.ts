import { computed, effect, signal } from '@preact/signals'
import type { FeatureCollection } from 'geojson'
import type { ExpressionSpecification, GeoJSONSource, LayerSpecification, Map, SourceSpecification } from 'maplibre-gl'
import { busy, leaders as first, mapWaits, rowOf, rows } from '../answer/answer'
import { opened } from '../answer/opened'
import { filterOf } from '../ask/cql'
import { asOf, camera, hour, hovered, question, ready, site, tree, view } from '../state/store'
import { theme } from '../state/theme'
import { drawings } from './drawings'
import { kite } from './kite'
import { lookOf } from './look'
import { shadeBy, valueOf } from './shade'
import { styleOf, type Seen } from './style'

const none: FeatureCollection = { type: 'FeatureCollection', features: [] }

// What is pointed at on the map, where the list does not know it yet.
export const pointed = signal<{ id: number; at: [number, number] } | null>(null)

const point = (at: [number, number], properties: Record<string, unknown>): GeoJSON.Feature => ({ type: 'Feature', geometry: { type: 'Point', coordinates: at }, properties })

const leaders = computed<FeatureCollection>(() => ({
  type: 'FeatureCollection',
  features: first.value.map((r) => point(r.at, { id: r.id, place: r.place, icon: kite(r.place) })),
}))

const marks = computed<FeatureCollection>(() => {
  const out: GeoJSON.Feature[] = []
  const h = hovered.value
  const at = h === null ? undefined : rowOf(h)?.at ?? (pointed.value?.id === h ? pointed.value.at : undefined)
  if (at) out.push(point(at, { opened: false }))
  if (tree.value !== null && opened.value?.id === tree.value) out.push(point(opened.value.at, { opened: true }))
  return { type: 'FeatureCollection', features: out }
})

// Shades depend on a handful of figures of the answer, not on all of its rows.
const shade = computed(() => JSON.stringify(shadeBy(rows.value, question.value.by, lookOf(theme.value))))

const added = computed(() => {
  const look = lookOf(theme.value)
  const below = { sources: {} as Record<string, SourceSpecification>, layers: [] as LayerSpecification[] }
  const above = { sources: {} as Record<string, SourceSpecification>, layers: [] as LayerSpecification[] }
  for (const drawing of drawings.value.values()) {
    const d = drawing.value
    if (!d) continue
    const to = d.above ? above : below
    Object.assign(to.sources, d.sources)
    to.layers.push(...d.layers(look))
  }
  return { below, above }
})

const template = document.documentElement.dataset.basemap ?? ''
const basemap = template.startsWith('/') ? location.origin + template : template
// Before the map is somewhere its tiles would be of nowhere.
const somewhere = computed(() => camera.value !== null)

const byHour = computed(() => hour.value !== null)

// No trees are asked for before it is known where the map is to be; where nothing
// answers, that is anywhere.
const settled = computed(() => somewhere.value || first.value.length > 0 || !busy.value)

export const seen = computed<Seen>(() => ({
  look: lookOf(theme.value), site: ready.value && settled.value ? site.value : '', filter: filterOf(question.value), asOf: asOf.value,
  shade: JSON.parse(shade.value) as ExpressionSpecification, sortBy: valueOf(question.value.by),
  hour: byHour.value, leaders: byHour.value || view.value === 'places' ? none : leaders.value, zones: opened.value?.id === tree.value ? opened.value?.zones ?? none : none, marks: marks.peek(),
  basemap: somewhere.value ? basemap : '', ...added.value,
}))

// follow keeps the map's style to what is to be seen, at the most once a frame.
export function follow(map: Map) {
  let frame = 0, set = ''
  const stopStyle = effect(() => {
    const s = seen.value
    cancelAnimationFrame(frame)
    frame = requestAnimationFrame(() => {
      map.setStyle(styleOf({ ...s, marks: marks.peek() }), { diff: true, validate: false })
      const now = s.site && s.filter
      if (now !== set) mapWaits.value = true
      set = now
    })
  })
  // What the map shows all of, for those who measure how long that took.
  const drawn = () => {
    map.getContainer().dataset.drawn = set
    mapWaits.value = false
  }
  const begun = () => { mapWaits.value = true }
  map.on('idle', drawn)
  map.on('movestart', begun)
  // What is pointed at changes often: the style is not gone through for it.
  const stopMarks = effect(() => {
    const now = marks.value
    map.getSource<GeoJSONSource>('marks')?.setData(now)
  })
  return () => { cancelAnimationFrame(frame); map.off('idle', drawn); map.off('movestart', begun); mapWaits.value = false; stopStyle(); stopMarks() }
}
