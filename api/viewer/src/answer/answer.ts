import { batch, computed, effect, signal } from '@preact/signals'
import type { Point } from 'geojson'
import { cqlOf } from '../ask/cql'
import { isAbort, items, nextOf, type Parameters, type TreeProps } from '../service'
import { asOf, edited, question, ready, site } from '../state/store'
import { startAnew } from '../ui/virtual'
import { whenIdle } from '../ui/idle'

// Row is a tree of the answer, as the list and the map need it.
export interface Row {
  id: number; at: [number, number]; place: number // in the answer, from 1
  p: Pick<TreeProps, (typeof picked)[number]>
}

const picked = ['tag', 'source_id', 'species', 'common_name', 'harm_index', 'person_hours_year', 'people', 'vehicles', 'likelihood', 'inferred', 'rule', 'rating', 'over', 'cut_kinds', 'last_topped'] as const

// The most that is listed: the list shows as many without trouble, and nobody
// reads on. What is beyond is on the map all the same.
export const mostRows = 100_000
const firstPage = 200, nextPages = 5000

export const rows = signal<readonly Row[]>([])
export const matched = signal<number | null>(null) // null where the service does not count that far
export const busy = signal(true)
export const trouble = signal('')
export const whole = signal(false) // all of the answer is listed
export const answered = signal('') // the question, in CQL2, that the rows are the answer to

// Totals of what is listed so far.
export const totals = computed(() => {
  let harm = 0, hours = 0, inferred = 0
  for (const { p } of rows.value) {
    harm += p.harm_index ?? 0
    hours += p.person_hours_year ?? 0
    if (p.inferred) inferred++
  }
  return { trees: rows.value.length, harm, hours, inferred }
})

// The rows by their trees. While an answer grows the map of it does too: only what
// is new is looked at.
let known = new Map<number, Row>(), of: readonly Row[] = []
const places = computed(() => {
  const now = rows.value
  const grown = of.length <= now.length && of[0] === now[0] && of.at(-1) === now[of.length - 1]
  if (!grown) known = new Map()
  for (let i = grown ? of.length : 0; i < now.length; i++) known.set(now[i]!.id, now[i]!)
  of = now
  return { get: (id: number) => known.get(id) }
})
export const rowOf = (id: number | null) => id === null ? undefined : places.value.get(id)

// The first rows, the same list as long as they are the same trees.
let leading: readonly Row[] = []
export const leaders = computed(() => {
  const now = rows.value.slice(0, 100)
  if (now.length !== leading.length || now.some((r, i) => r !== leading[i])) leading = now
  return leading
})

// Somebody may be waiting for the map, or moving it: what is beyond the first page
// is gathered when nothing else is to be done.
export const mapWaits = signal(false)
const spare = (signal: AbortSignal) => new Promise<void>((done) => {
  const stop = effect(() => {
    if (mapWaits.value && !signal.aborted) return
    queueMicrotask(() => stop())
    whenIdle(done)
  })
  signal.addEventListener('abort', () => { stop(); done() })
})

// passes are the requests that put the answer in its order: rating is a word,
// whose order is not the alphabet's.
function passes(cql: string, by: string): Parameters[] {
  switch (by) {
    case 'exposure': return [{ filter: cql, sortby: '-person_hours_year,tag' }]
    case 'rating': return [...['extreme', 'high', 'moderate', 'low'].map((r) => `rating = '${r}'`), 'rating IS NULL'].map((r) => ({ filter: `${cql} AND ${r}`, sortby: '-harm_index,tag' }))
    default: return [{ filter: cql, sortby: '-harm_index,tag' }]
  }
}

async function gather(cql: string, by: string, at: string, signal: AbortSignal) {
  let list: Row[] = []
  let total: number | null = 0
  const asks = passes(cql, by)
  for (const pass of asks) {
    let next: Parameters | null = { ...pass, limit: firstPage, properties: picked, as_of: at }
    while (next && list.length < mostRows) {
      if (list.length) await spare(signal)
      if (signal.aborted) return
      const page = await items<Row['p'], Point>('trees', { ...next, limit: Math.min(list.length ? nextPages : firstPage, mostRows - list.length) }, signal)
      if (signal.aborted) return
      if (!next.cursor) total = total === null || page.numberMatched === undefined ? null : total + page.numberMatched
      list = list.concat(page.features.map((f, i) => ({ id: f.id, at: f.geometry.coordinates as [number, number], place: list.length + i + 1, p: f.properties })))
      next = nextOf(page)
      const all = !next && pass === asks.at(-1)
      batch(() => {
        rows.value = list
        answered.value = cql
        matched.value = all ? list.length : asks.length === 1 ? total : null
        whole.value = all
      })
    }
  }
}

// ofTyped says of what was typed what the service says of the whole filter.
function ofTyped(said: string, cql: string) {
  const typed = question.peek().filter.trim(), m = /^parameter filter: column (\d+): (.+)/s.exec(said)
  const at = Number(m?.[1]) - [...cql.slice(0, cql.lastIndexOf(`(${typed})`) + 1)].length
  return m && typed && at > 0 ? `Your filter, ${at > [...typed].length ? 'at its end' : `character ${at}`}: ${m[2]}` : said
}

// keepAnswer asks again whenever the question changes.
export function keepAnswer() {
  const asked = computed(() => JSON.stringify([ready.value && site.value && cqlOf(question.value, site.value), question.value.by, asOf.value, edited.value]))
  let last = ''
  effect(() => {
    const [cql, by, at] = JSON.parse(asked.value) as [string, string, string, number]
    if (!cql) return
    const asking = new AbortController()
    // After an edit the list stays where it is.
    const still = JSON.stringify([cql, by, at])
    if (last && last !== still) startAnew('list')
    last = still
    batch(() => { busy.value = true; trouble.value = ''; whole.value = false })
    gather(cql, by, at, asking.signal).catch((err: Error) => {
      if (isAbort(err) || asking.signal.aborted) return
      batch(() => { rows.value = []; matched.value = null; trouble.value = ofTyped(err.message, cql) })
    }).finally(() => { if (!asking.signal.aborted) busy.value = false })
    return () => asking.abort()
  })
}
