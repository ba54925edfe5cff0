import { computed, effect, signal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { rows, type Row } from '../answer/answer'
import { hours as askHours, isAbort, type Week } from '../service'
import { asOf, hour, site } from '../state/store'
import { Button } from '../ui/parts'
import { figure, hourName } from '../ui/words'
import { addDrawing, type Drawing } from './drawings'

// The hour of the week: a slider that shows how many people are under the first
// trees of the answer then. Their weeks are asked for once somebody looks.

const most = 60
const atOnce = 4
const weeks = signal<ReadonlyMap<number, number[]>>(new Map())
const on = computed(() => hour.value !== null)

const people = (w: Week) => w.people_in_the_open.map((n, i) => n + (w.people_in_vehicles[i] ?? 0))
const wanted = computed(() => on.value ? JSON.stringify([site.value, asOf.value, rows.value.slice(0, most).map((r) => [r.id, r.p.tag || r.p.source_id])]) : '')

effect(() => {
  if (!wanted.value) return
  const [of, at, list] = JSON.parse(wanted.value) as [string, string, [number, string | null][]]
  const asking = new AbortController()
  const found = new Map<number, number[]>()
  const left = list.filter(([, tag]) => tag)
  const work = async () => {
    for (let next = left.shift(); next; next = left.shift()) {
      try {
        found.set(next[0], people(await askHours(of, next[1]!, at, {}, asking.signal)))
        if (found.size % 10 === 0 || !left.length) weeks.value = new Map(found)
      } catch (err) {
        if (isAbort(err)) return
      }
    }
  }
  void Promise.all(Array.from({ length: atOnce }, work)).then(() => { if (!asking.signal.aborted) weeks.value = new Map(found) })
  return () => asking.abort()
})

const busiest = computed(() => Math.max(0.01, ...[...weeks.value.values()].flatMap((w) => w)))

const shown = computed<Drawing | null>(() => {
  if (hour.value === null || !weeks.value.size) return null
  const h = hour.value
  const point = (r: Row) => ({ type: 'Feature' as const, geometry: { type: 'Point' as const, coordinates: r.at }, properties: { size: Math.sqrt((weeks.value.get(r.id)?.[h] ?? 0) / busiest.value) * 34 } })
  return {
    sources: { 'hour-people': { type: 'geojson', data: { type: 'FeatureCollection', features: rows.value.slice(0, most).filter((r) => weeks.value.has(r.id)).map(point) } } },
    layers: (look) => [{ id: 'hour-people', type: 'circle', source: 'hour-people', paint: { 'circle-radius': ['get', 'size'], 'circle-color': look.zone, 'circle-opacity': 0.3, 'circle-stroke-color': look.zone, 'circle-stroke-width': 1 } }],
  }
})
addDrawing('hour', shown)

const sum = computed(() => hour.value === null ? 0 : [...weeks.value.values()].reduce((s, w) => s + (w[hour.value!] ?? 0), 0))
const playing = signal(false)

export function Hours() {
  useEffect(() => effect(() => {
    if (!playing.value) return
    const t = setInterval(() => { hour.value = ((hour.value ?? 0) + 1) % 168 }, 350)
    return () => clearInterval(t)
  }), [])
  const h = hour.value
  if (h === null) return <div class="over-map hours"><Button onClick={() => { hour.value = 8 }}>Hour of the week</Button></div>
  return (
    <div class="over-map hours open" role="group" aria-label="Hour of the week">
      <Button aria-pressed={playing.value} aria-label={playing.value ? 'Stop' : 'Run through the week'} onClick={() => { playing.value = !playing.value }}>{playing.value ? '❚❚' : '▶'}</Button>
      <label>
        <span class="hidden">Hour of the week</span>
        <input type="range" min="0" max="167" value={h} aria-valuetext={hourName(h)} onInput={(e) => { hour.value = Number(e.currentTarget.value) }} />
      </label>
      <output>{hourName(h, true)}: {figure(sum.value)} people under the first {weeks.value.size} trees</output>
      <Button look="plain" aria-label="Put the hour away" onClick={() => { playing.value = false; hour.value = null }}>×</Button>
    </div>
  )
}
