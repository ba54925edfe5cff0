import { sendAll } from '../field/outbox'
import { fieldCache } from '../field/store'

// The service worker: answers for the page's files from those of one build, and
// for what was taken along where the service cannot be reached.

interface Extendable extends Event { waitUntil(p: Promise<unknown>): void }
interface Fetching extends Extendable { request: Request; respondWith(r: Promise<Response>): void }
interface Client { url: string; postMessage(message: string): void }
interface Worker {
  registration: ServiceWorkerRegistration
  clients: { claim(): Promise<void>; matchAll(how: { type: 'window'; includeUncontrolled: true }): Promise<Client[]> }
  skipWaiting(): Promise<void>
  addEventListener(kind: 'install' | 'activate', act: (e: Extendable) => void): void
  addEventListener(kind: 'fetch', act: (e: Fetching) => void): void
  addEventListener(kind: 'sync', act: (e: Extendable & { tag: string }) => void): void
  addEventListener(kind: 'message', act: (e: Extendable & { data: string; source: Client | null }) => void): void
}

// Filled in by the build: its name, and the page's files with their SHA-256.
declare const BUILD: string
declare const FILES: Record<string, string>

const sw = self as unknown as Worker
const page = new URL(sw.registration.scope).pathname // …/map
const base = page.replace(/\/map$/, '')
const caching = `underbough-page${base} `
const patience = 5000 // ms, for the service where there is something kept instead

// None but files of this build come together; else the next try does it.
sw.addEventListener('install', (e) => e.waitUntil((async () => {
  const cache = await caches.open(caching + BUILD)
  await Promise.all(Object.entries(FILES).map(async ([name, sum]) => {
    const r = await fetch(`${page}/${name}`, { cache: 'no-cache' })
    const is = new Uint8Array(await crypto.subtle.digest('SHA-256', await r.clone().arrayBuffer()))
    if (!r.ok || [...is].map((b) => b.toString(16).padStart(2, '0')).join('') !== sum) throw new Error(`${name} is of another build`)
    await cache.put(`${page}/${name}`, r)
  }))
  const r = await fetch(page, { cache: 'no-cache' })
  if (!(await ofThisBuild(r))) throw new Error('the page is of another build')
  await cache.put(page, r)
})()))

const ofThisBuild = async (r: Response) => r.ok && (await r.clone().text()).includes(`data-build="${BUILD}"`)

sw.addEventListener('activate', (e) => e.waitUntil((async () => {
  for (const name of await caches.keys()) if (name.startsWith(caching) && name !== caching + BUILD) await caches.delete(name)
  await sw.clients.claim()
})()))

// Whether anything is taken along; unknown at first.
let carries: boolean | undefined
const look = async () => { carries = await caches.has(fieldCache(base)) }
void look()

sw.addEventListener('fetch', (e) => {
  const { request } = e, { origin, pathname } = new URL(request.url)
  if (request.method !== 'GET' || origin !== location.origin || !pathname.startsWith(base + '/')) return
  if (request.mode === 'navigate') {
    if (pathname === page || pathname === page + '/') e.respondWith(thePage(request))
  } else if (pathname.startsWith(page + '/')) e.respondWith(aFile(request, pathname))
  else if (carries !== false) e.respondWith(ofTheService(request))
})

// The page is the service's where it is of this build: it holds its words too.
async function thePage(request: Request): Promise<Response> {
  const cache = await caches.open(caching + BUILD), kept = await cache.match(page)
  if (!kept) return fetch(request)
  const fresh = await patiently(request)
  if (!fresh || !(await ofThisBuild(fresh))) {
    if (fresh?.ok) void sw.registration.update().catch(() => {})
    return kept
  }
  await cache.put(page, fresh.clone())
  return fresh
}

async function aFile(request: Request, pathname: string): Promise<Response> {
  return (await (await caches.open(caching + BUILD)).match(pathname)) ?? fetch(request)
}

async function ofTheService(request: Request): Promise<Response> {
  const kept = await caches.match(request.url, { cacheName: fieldCache(base), ignoreVary: true })
  if (!kept) return fetch(request)
  const fresh = await patiently(request)
  return fresh && fresh.status < 502 ? fresh : kept
}

// patiently asks the network for a while; null where it does not answer.
const patiently = (request: Request) => Promise.race([fetch(request).catch(() => null), new Promise<null>((done) => setTimeout(done, patience, null))])

// What waits is sent when the browser has a signal, with no tab open too; where the
// service asks for a key it waits for the page, which has it.
sw.addEventListener('sync', (e) => { if (e.tag === 'outbox') e.waitUntil(sendAll(base, '')) })

// Another build takes over while only one tab is open, so that none is left with
// parts of two.
sw.addEventListener('message', (e) => {
  if (e.data === 'carries') e.waitUntil(look())
  if (e.data === 'take over') e.waitUntil((async () => {
    const tabs = (await sw.clients.matchAll({ type: 'window', includeUncontrolled: true })).filter((c) => new URL(c.url).pathname === page)
    if (tabs.length > 1) e.source?.postMessage('others')
    else await sw.skipWaiting()
  })())
})
