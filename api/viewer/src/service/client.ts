import { signal } from '@preact/signals'

// Asks the service; every address lies below the page's own.

export const base = document.documentElement.dataset.base ?? ''

// The service's own words of what went wrong (RFC 9457).
export class Problem extends Error {
  constructor(readonly status: number, detail: string, readonly members: Record<string, unknown> = {}) {
    super(detail)
    this.name = 'Problem'
  }
}

export type Parameters = Record<string, string | number | boolean | readonly string[] | null | undefined>

// address joins a path below the base with those parameters that have a value;
// lists are joined by commas.
export function address(path: string, parameters: Parameters = {}): string {
  const query = new URLSearchParams()
  for (const [name, v] of Object.entries(parameters)) {
    if (v === null || v === undefined || v === '' || (Array.isArray(v) && v.length === 0)) continue
    query.set(name, Array.isArray(v) ? v.join(',') : String(v))
  }
  const text = query.toString()
  return base + path + (text ? '?' + text : '')
}

// The key of those who may edit, where the service asks for one. It is kept until
// the tab is closed, once the service took it; one that was refused is dropped.
const keyName = 'underbough-key'
let given = ''
export const editKey = {
  get: () => given || (sessionStorage.getItem(keyName) ?? ''),
  set: (key: string) => { given = key.trim(); sessionStorage.removeItem(keyName) },
  // tried hears what came of a request that brought the key. A service that asks for
  // no key asks for a name instead.
  tried: (key: string, status: number, said = '') => {
    if (!key || key !== editKey.get()) return
    if (status === 401 || status === 400 && said.startsWith('by is missing')) editKey.set('')
    else if (status < 400) sessionStorage.setItem(keyName, key)
  },
}
export const unknownKey = 'The service does not know this key.'

const unreachable = 'The service cannot be reached.'

// Whether the service could not be reached when it was last asked.
export const lost = signal(false)

export interface Sent<T> {
  kept: string | null // when it was stored on this device, where the service cannot be reached
  body: T
  etag: string | null
  location: string | null
  status: number
}

export interface Sending {
  method?: string
  body?: unknown // JSON; a Blob goes as it is
  type?: string // of the body; application/json
  ifMatch?: string | null
  keyed?: boolean // reading asks for the key too
  signal?: AbortSignal
}

// send makes a request and reads the JSON of its answer, if there is any.
export async function send<T = unknown>(path: string, parameters: Parameters = {}, how: Sending = {}): Promise<Sent<T>> {
  const headers: Record<string, string> = { Accept: 'application/geo+json, application/json' }
  let body: BodyInit | undefined
  if (how.body instanceof Blob) body = how.body
  else if (how.body !== undefined) body = JSON.stringify(how.body)
  if (body !== undefined) headers['Content-Type'] = how.type ?? (how.body instanceof Blob && how.body.type ? how.body.type : 'application/json')
  if (how.ifMatch) headers['If-Match'] = how.ifMatch
  const key = how.keyed || how.method && how.method !== 'GET' ? editKey.get() : ''
  if (key) headers.Authorization = `Bearer ${key}`
  let response: Response
  try {
    response = await fetch(address(path, parameters), { method: how.method ?? 'GET', headers, body: body ?? null, signal: how.signal ?? null })
  } catch (err) {
    if ((err as Error).name === 'AbortError') throw err
    lost.value = true
    throw new Problem(0, unreachable)
  }
  const kept = response.headers.get('Underbough-Kept')
  lost.value = !!kept
  if (!response.ok) {
    const members = (await response.json().catch(() => ({}))) as Record<string, unknown>
    editKey.tried(key, response.status, String(members.detail))
    throw new Problem(response.status, key && response.status === 401 ? unknownKey : String(members.detail ?? members.title ?? `The service answered ${response.status}.`), members)
  }
  editKey.tried(key, response.status)
  const text = await response.text()
  const json = /json/.test(response.headers.get('Content-Type') ?? '')
  return { kept, body: (text && json ? JSON.parse(text) : null) as T, etag: response.headers.get('ETag'), location: response.headers.get('Location'), status: response.status }
}

// takes asks whether the service takes anything at a path.
export async function takes(path: string, signal?: AbortSignal): Promise<boolean> {
  try {
    return /\bPOST\b/.test((await fetch(address(path), { method: 'OPTIONS', signal: signal ?? null })).headers.get('Allow') ?? '')
  } catch (err) {
    throw isAbort(err) ? err : new Problem(0, unreachable)
  }
}

export async function get<T>(path: string, parameters: Parameters = {}, signal?: AbortSignal): Promise<T> {
  return (await send<T>(path, parameters, signal ? { signal } : {})).body
}

export interface Link { href: string; rel: string; type?: string; title?: string }

// nextOf gives the parameters of the page after this one. The link may name the
// service by another host; the page keeps to its own.
export function nextOf(page: { links?: Link[] }): Parameters | null {
  const next = page.links?.find((l) => l.rel === 'next')
  return next ? Object.fromEntries(new URL(next.href, location.href).searchParams) : null
}

export const isAbort = (err: unknown) => (err as Error)?.name === 'AbortError'
