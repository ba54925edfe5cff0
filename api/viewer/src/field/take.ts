import { signal } from '@preact/signals'
import type { Point } from 'geojson'
import { address, base, type TreePoint } from '../service'
import { tiles } from '../map/style'
import type { Job } from '../work/types'
import { filterOf } from '../ask/cql'
import { emptyQuestion } from '../state/address'
import { fieldCache, keptHeader, open, write, type Taken } from './store'

export const taken = signal<readonly Taken[]>([])
export const readTaken = async () => { taken.value = (await (await open(base)).getAll('taken')).sort((a, b) => a.package.localeCompare(b.package) || a.tag.localeCompare(b.tag, 'en', { numeric: true })) }

export const canTake = () => 'caches' in globalThis && 'serviceWorker' in navigator

const around = 60 // metres to each side of a tree that tiles are taken of

// takeAlong stores all that a job in the field needs, and tells how far it is.
export async function takeAlong(jobs: readonly number[], tellHow: (done: number) => void) {
  if (!canTake()) throw new Error('This browser keeps nothing for the field at this address: it does so over HTTPS only.')
  await navigator.storage?.persist?.().catch(() => false)
  await navigator.serviceWorker.ready
  const cache = await caches.open(fieldCache(base))
  navigator.serviceWorker.controller?.postMessage('carries')
  const had = new Set<string>()
  // Tiles are of many jobs: each is asked for once.
  const store = async (path: string, once = false): Promise<Response | undefined> => {
    if (once && had.has(path)) return
    had.add(path)
    const r = await fetch(path, { cache: 'no-cache' })
    if (r.headers.has(keptHeader)) throw new Error('The service cannot be reached: what was taken along before stays as it is.')
    if (!r.ok) throw new Error(`${path.slice(base.length)}: the service answered ${r.status}.`)
    const headers = new Headers(r.headers)
    headers.delete('Content-Encoding')
    headers.set(keptHeader, new Date().toISOString())
    const body = r.status === 204 ? null : await r.arrayBuffer()
    await cache.put(path, new Response(body, { status: r.status, headers }))
    return new Response(body)
  }
  await store(address('/collections/sites/items', { limit: 1000 }))
  for (const [n, id] of jobs.entries()) {
    const job = await (await store(address(`/jobs/${id}`)))!.json() as Job
    const tree = address(`/collections/trees/items/${job.tree_id}`)
    const addresses = [address(`/jobs/${id}`), tree, address('/collections/cuts/items', { limit: 1000, tree_id: job.tree_id }), address('/drawing.svg', { site: job.site, tag: `#${job.tree_id}` })]
    const found = await (await store(tree))!.json() as TreePoint
    for (const path of addresses.slice(2)) await store(path)
    const at = (found.geometry as Point).coordinates as [number, number]
    for (const path of tilesAt(at, job.site)) {
      await store(path, true)
      addresses.push(path)
    }
    await write(base, 'taken', { job: id, site: job.site, tag: job.tag, work: job.work, package: job.package, year: job.year, state: job.state, species: found.properties.species ?? '', at, since: new Date().toISOString(), addresses })
    tellHow(n + 1)
  }
  navigator.serviceWorker.controller?.postMessage('carries')
  await readTaken()
}

// tilesAt are the addresses of the tiles about a place, as the map asks for them.
export function tilesAt([lon, lat]: [number, number], site: string): string[] {
  const out: string[] = []
  const dLat = around / 111_320, dLon = dLat / Math.cos(lat * Math.PI / 180)
  for (let z = 13; z <= 18; z++) {
    const n = 2 ** z
    const x = (l: number) => Math.floor((l + 180) / 360 * n)
    const y = (l: number) => { const r = l * Math.PI / 180; return Math.floor((1 - Math.asinh(Math.tan(r)) / Math.PI) / 2 * n) }
    for (let c = x(lon - dLon); c <= x(lon + dLon); c++) for (let r = y(lat + dLat); r <= y(lat - dLat); r++) {
      for (const source of [tiles('targets', 18, 13, { site }), tiles('trees', 18, 0, { site, filter: filterOf(emptyQuestion) })]) {
        const path = (source as { tiles: string[] }).tiles[0]!.slice(location.origin.length)
        out.push(path.replace('{z}', String(z)).replace('{y}', String(r)).replace('{x}', String(c)))
      }
    }
  }
  return out
}

// putAway takes jobs from this device, with what no other job needs.
export async function putAway(jobs: readonly number[]) {
  const db = await open(base)
  for (const id of jobs) await db.delete('taken', id)
  const left = await db.getAll('taken')
  if (!left.length) await caches.delete(fieldCache(base))
  else {
    const needed = new Set(left.flatMap((t) => t.addresses))
    const cache = await caches.open(fieldCache(base))
    for (const r of await cache.keys()) {
      const { pathname, search } = new URL(r.url)
      if (!needed.has(pathname + search) && !pathname.endsWith('/sites/items')) await cache.delete(r)
    }
  }
  navigator.serviceWorker?.controller?.postMessage('carries')
  await readTaken()
}
