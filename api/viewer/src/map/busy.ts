import { computed, effect } from '@preact/signals'
import type { Map as Ground } from 'maplibre-gl'
import { hour } from '../state/store'
import { keepWeeks, placesSeen, treesSeen } from './weeks'

// The trees on the screen with the people under them in the hour that is shown;
// each once, though it may lie at the side of two cells.
export const then = computed(() => {
  const h = hour.value
  const out = new Map<number, { id: number; name: string | null; people: number }>()
  if (h !== null) for (const p of treesSeen.value) for (const w of p.weeks) out.set(w.id, { id: w.id, name: w.name, people: w.at(h) })
  return out
})

const places = computed(() => {
  const h = hour.value
  const out = new Map<number, number>()
  for (const p of placesSeen.value) for (const w of p.weeks) out.set(w.id, h === null ? w.mean : w.at(h))
  return out
})

// colour tells the map how many people are on each place and, while an hour is
// shown, under each tree: the mean of the week, or those of the hour.
export function colour(map: Ground) {
  const told: Record<string, ReadonlyMap<number, number>> = {}
  const put = (source: string, name: string, values: ReadonlyMap<number, number>) => {
    if (!map.getSource(source)) return
    const set = (id: number, v: number | null) => map.setFeatureState({ source, sourceLayer: source, id }, { [name]: v })
    // What is no longer known would keep the shade of another hour.
    told[source]?.forEach((_, id) => { if (!values.has(id)) set(id, null) })
    values.forEach((v, id) => set(id, v))
    told[source] = values
    map.getContainer().dataset[source === 'trees' ? 'hours' : 'busy'] = String(values.size)
  }
  const putPlaces = () => put('targets', 'people', places.value)
  const putTrees = () => put('trees', 'hour', new Map([...then.value.values()].map((t) => [t.id, t.people])))
  const stop = [keepWeeks(map), effect(putPlaces), effect(putTrees)]
  // Another question makes the source anew, which then knows nothing.
  const anew = map.on('sourcedata', (e) => {
    if (e.sourceDataType !== 'metadata') return
    if (e.sourceId === 'targets') putPlaces()
    if (e.sourceId === 'trees') putTrees()
  })
  return () => { anew.unsubscribe(); stop.forEach((s) => s()) }
}
