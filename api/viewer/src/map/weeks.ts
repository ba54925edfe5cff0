import { computed, effect, signal } from '@preact/signals'
import type { Map as Ground } from 'maplibre-gl'
import { filterOf } from '../ask/cql'
import { isAbort, placeWeeks, treeWeeks, type SharedWeek, type Weeks } from '../service'
import { asOf, camera, edited, hour, question, ready, site } from '../state/store'
import { tell } from '../ui/toast'

// The weeks of what is on the screen, asked for cell by cell of the web's grid, so
// that the same cells are asked for again. What was asked is kept for a minute.

export interface Week { id: number; name: string | null; mean: number; at: (hour: number) => number }
interface Part { weeks: Week[]; more: boolean }

const kept = new Map<string, { asked: number; part: Part }>()
const longest = 60_000, most = 80

export const treesSeen = signal<readonly Part[]>([])
export const placesSeen = signal<readonly Part[]>([])
export const asking = signal(0)

const weekOf = (a: Weeks, v: SharedWeek, id: number, name: string | null): Week => ({
  id, name, mean: v.people, at: (h) => v.weeks.reduce((n, w, i) => n + v.persons[i]! * a.weeks[w]!.factors[h]!, 0),
})

// cells are those of the grid that the map shows: at the most a dozen or so.
function cells(map: Ground, finest: number): string[] {
  const b = map.getBounds(), level = Math.min(Math.max(Math.floor(map.getZoom()) - 1, 0), finest), n = 2 ** level
  const x = (lon: number) => Math.min(Math.max(Math.floor((lon + 180) / 360 * n), 0), n - 1)
  const y = (lat: number) => {
    const s = Math.sin(Math.min(Math.max(lat, -85), 85) * Math.PI / 180)
    return Math.min(Math.max(Math.floor((0.5 - Math.log((1 + s) / (1 - s)) / (4 * Math.PI)) * n), 0), n - 1)
  }
  const lon = (x: number) => x / n * 360 - 180, lat = (y: number) => Math.atan(Math.sinh(Math.PI * (1 - 2 * y / n))) * 180 / Math.PI
  const out: string[] = []
  for (let i = x(b.getWest()); i <= x(b.getEast()); i++) {
    for (let k = y(b.getNorth()); k <= y(b.getSouth()); k++) out.push([lon(i), lat(k + 1), lon(i + 1), lat(k)].map((v) => v.toFixed(7)).join())
  }
  return out
}

const treesWanted = computed(() => hour.value !== null)

// keepWeeks asks for the weeks of what the map shows, whenever it has moved.
export function keepWeeks(map: Ground) {
  const moved = signal(0)
  const again = () => { moved.value++ }
  map.on('moveend', again)
  map.once('idle', again)
  const follow = (of: 'trees' | 'places') => effect(() => {
    const name = site.value, at = asOf.value, filter = of === 'trees' ? filterOf(question.value) : ''
    const seen = of === 'trees' ? treesSeen : placesSeen
    const key = (p: object) => JSON.stringify([of, edited.value, p]) // an edit makes them others
    // Before it is put anywhere the map shows the world.
    if (!moved.value || !camera.value || !name || !ready.value || (of === 'trees' ? !treesWanted.value : map.getZoom() < 13)) {
      seen.value = []
      return
    }
    const grid = cells(map, of === 'trees' ? 16 : 14)
    // Below level 14 a mark stands for many trees: the worst are asked for.
    const limit = of === 'places' ? null : map.getZoom() < 14 ? Math.min(5000, Math.max(500, Math.floor(8000 / grid.length))) : 5000
    const boxes = grid.map((bbox) => ({ site: name, as_of: at, filter, limit, bbox }))
    const stop = new AbortController()
    const part = (p: typeof boxes[number]) => {
      const known = kept.get(key(p))
      return known && Date.now() - known.asked < longest ? known.part : null
    }
    const show = () => { seen.value = boxes.map(part).filter((p) => p !== null) }
    const left = boxes.filter((p) => !part(p))
    const work = async () => {
      for (let p = left.shift(); p && !stop.signal.aborted; p = left.shift()) {
        const a = await (of === 'trees' ? treeWeeks : placeWeeks)(p, stop.signal)
        kept.delete(key(p))
        kept.set(key(p), { asked: Date.now(), part: { more: a.more, weeks: [...(a.trees ?? []).map((v) => weekOf(a, v, v.tree_id, v.tag)), ...(a.places ?? []).map((v) => weekOf(a, v, v.target_id, null))] } })
        if (kept.size > most) kept.delete(kept.keys().next().value!)
        if (!stop.signal.aborted) show()
      }
    }
    show()
    const wait = setTimeout(() => {
      asking.value++
      Promise.all([work(), work()]).catch((err: Error) => {
        if (isAbort(err) || stop.signal.aborted) return
        if (of === 'trees') tell(err.message, 'error')
        else console.info(err.message) // recorded figures do
      }).finally(() => { asking.value-- })
    }, left.length ? 150 : 0)
    return () => { clearTimeout(wait); stop.abort() }
  })
  const stop = [follow('trees'), follow('places')]
  return () => { map.off('moveend', again); stop.forEach((s) => s()) }
}
