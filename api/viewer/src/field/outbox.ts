import { news, open, write, type Entry } from './store'

// Sends what waits, in its order: a completion first, then its pictures. One at a
// time over all tabs and the worker.

// alone keeps others out that change what waits.
export const alone = <T>(base: string, act: () => Promise<T>): Promise<T> =>
  navigator.locks ? navigator.locks.request(`underbough-outbox${base}`, act) as Promise<T> : act()

// change changes an entry that nobody is sending; null takes it away.
export const change = (base: string, id: number, how: (e: Entry) => Entry | null) => alone(base, async () => {
  const db = await open(base), e = await db.get('entries', id)
  if (!e) return
  const now = how(e)
  if (now) await write(base, 'entries', now)
  else await db.delete('entries', id)
  tellOthers(base)
})

export function tellOthers(base: string) {
  const channel = news(base)
  channel.postMessage('entries')
  channel.close()
}

// sendAll sends what waits until something keeps it from being sent.
export const sendAll = (base: string, key: string) => alone(base, async () => {
  const db = await open(base)
  let done = 0
  for (const id of await db.getAllKeys('entries')) {
    const e = await db.get('entries', id)
    if (e?.state !== 'waiting') continue
    const goesOn = await send(base, key, e)
    if (e.state as Entry['state'] === 'sent') done++
    tellOthers(base)
    if (!goesOn) break
  }
  return done
})

// send sends one entry and keeps what came of it. It tells whether the service can
// be asked for more.
async function send(base: string, key: string, e: Entry): Promise<boolean> {
  // A key says who it is.
  const { by, ...rest } = e.body
  if (!e.recorded) {
    const headers: Record<string, string> = { 'Content-Type': 'application/json', 'Idempotency-Key': `"${e.key}"` }
    if (e.etag) headers['If-Match'] = e.etag
    let failed = await post(`${base}/jobs/${e.job}/completion`, key, headers, JSON.stringify(key ? rest : e.body))
    // A service that asks for no key any more asks for the name, which is kept along.
    if (key && by && failed?.status === 400 && failed.detail.startsWith('by is missing')) {
      key = ''
      failed = await post(`${base}/jobs/${e.job}/completion`, key, headers, JSON.stringify(e.body))
    }
    if (failed) return keepTrouble(base, e, failed)
    e.recorded = true
    await write(base, 'entries', e)
  }
  while (e.draft.pictures.length) {
    const [p, ...left] = e.draft.pictures
    const query = new URLSearchParams({ name: p!.name, ...(key ? {} : { by: String(by ?? '') }) })
    const failed = await post(`${base}/jobs/${e.job}/photos?${query}`, key, { 'Content-Type': p!.type }, p!.blob)
    if (failed) return keepTrouble(base, e, { ...failed, detail: `${p!.name}: ${failed.detail}` })
    e.draft = { ...e.draft, pictures: left }
    await write(base, 'entries', e)
  }
  Object.assign(e, { state: 'sent', trouble: null, tried: new Date().toISOString() })
  await write(base, 'entries', e)
  return true
}

async function post(path: string, key: string, headers: Record<string, string>, body: BodyInit) {
  let r: Response
  try {
    r = await fetch(path, { method: 'POST', headers: key ? { ...headers, Authorization: `Bearer ${key}` } : headers, body })
  } catch {
    return { status: 0, detail: 'The service cannot be reached.' }
  }
  if (r.ok) return null
  const said = await r.json().catch(() => ({})) as { detail?: string }
  return { status: r.status, detail: said.detail ?? `The service answered ${r.status}.` }
}

// What is no word on the entry itself: it waits on, and so do those after it.
export const waits = (status: number) => status === 0 || status === 401 || status === 403 || status === 408 || status === 429 || status >= 500

async function keepTrouble(base: string, e: Entry, trouble: { status: number; detail: string }): Promise<boolean> {
  const on = waits(trouble.status)
  Object.assign(e, { trouble, tried: new Date().toISOString(), state: on ? 'waiting' : 'refused' })
  await write(base, 'entries', e)
  return !on
}
