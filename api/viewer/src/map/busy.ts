import { effect } from '@preact/signals'
import type { Map } from 'maplibre-gl'
import { get, isAbort, places, type Page } from '../service'
import { asOf, ready, site } from '../state/store'

const most = 10_000

// colourPlaces tells the map how many people are on each place, where a site's
// places are few enough to be asked for at once.
export function colourPlaces(map: Map) {
  return effect(() => {
    const of = site.value, at = asOf.value
    if (!of || !ready.value) return
    const asking = new AbortController()
    const wait = setTimeout(async () => {
      try {
        const { numberMatched } = await get<Page<unknown>>('/collections/targets/items', { site: of, as_of: at, limit: 1, resultType: 'hits' }, asking.signal)
        if ((numberMatched ?? most + 1) > most) return
        const answer = await places({ site: of, as_of: at, limit: most }, asking.signal)
        // The answer may be there before the map has begun.
        while (!asking.signal.aborted && !map.getSource('targets')) await new Promise((done) => setTimeout(done, 100))
        if (asking.signal.aborted) return
        for (const f of answer.features) map.setFeatureState({ source: 'targets', sourceLayer: 'targets', id: f.id }, { people: f.properties.people + f.properties.people_in_vehicles })
        map.getContainer().dataset.busy = String(answer.features.length)
      } catch (err) {
        // A site too large to be gone through: recorded figures do.
        if (!isAbort(err)) console.info((err as Error).message)
      }
    }, 300)
    return () => { clearTimeout(wait); asking.abort() }
  })
}
