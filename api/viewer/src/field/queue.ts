import { computed, signal } from '@preact/signals'
import { base, editKey, unknownKey } from '../service'
import { tell } from '../ui/toast'
import { wantsKey } from '../work/by'
import { sendAll, tellOthers } from './outbox'
import { open, write, type Draft, type Entry } from './store'

// What waits, as the page shows it.
export const entries = signal<readonly Entry[]>([])
export const waiting = computed(() => entries.value.filter((e) => e.state !== 'sent'))
export const entryOf = (job: number) => entries.value.findLast((e) => e.job === job && e.state !== 'sent')
export const sending = signal(false)

const day = 86_400_000

// read reads what waits anew. What was sent is shown for a day.
export async function read() {
  const db = await open(base)
  const all = await db.getAll('entries')
  for (const e of all) if (e.state === 'sent' && Date.now() - Date.parse(e.tried) > day) await db.delete('entries', e.id!)
  entries.value = all
}

// flush sends what waits, and is done when that is sent or kept from it.
export async function flush() {
  if (!(await hasWaiting())) return
  sending.value = true
  try {
    const key = editKey.get(), done = await sendAll(base, key)
    await read()
    if (done) editKey.tried(key, 200)
    if (done) tell(`${done === 1 ? 'What was recorded is' : `${done} completions are`} sent.`)
    const left = waiting.value.filter((e) => e.state === 'waiting')
    if (left.some((e) => e.trouble?.status === 401 || e.trouble?.status === 403)) wantsKey.value = true
    if (key && left.some((e) => e.trouble?.status === 401)) {
      editKey.tried(key, 401)
      tell(unknownKey, 'error')
    }
    if (left.length) await sendLater()
  } catch (err) {
    tell(`What waits cannot be read on this device: ${(err as Error).message}`, 'error')
  } finally {
    sending.value = false
  }
}

const hasWaiting = async () => (await (await open(base)).getAll('entries')).some((e) => e.state === 'waiting')

// sendLater asks the browser to send it when there is a signal, where it can.
async function sendLater() {
  const r = await navigator.serviceWorker?.getRegistration(base + '/map') as (ServiceWorkerRegistration & { sync?: { register(tag: string): Promise<void> } }) | undefined
  await r?.sync?.register('outbox').catch(() => {})
}

// keepEntry writes an entry, and takes its draft away in the same breath.
export async function keepEntry(e: Entry): Promise<number> {
  const id = await write(base, 'entries', e)
  await (await open(base)).delete('drafts', e.job)
  void navigator.storage?.persist?.().catch(() => false)
  await read()
  tellOthers(base)
  return id
}

export const draftOf = async (job: number) => (await (await open(base)).get('drafts', job))?.draft
export const keepDraft = (job: number, draft: Draft) => write(base, 'drafts', { job, draft })
export const dropDraft = async (job: number) => (await open(base)).delete('drafts', job)

// noRoom says what a failed write means.
export const noRoom = (err: unknown) => (err as Error).name === 'QuotaExceededError'
  ? 'This device has no room left, and it was not kept: put away jobs that were taken along, or leave pictures out.'
  : `This browser does not keep it: ${(err as Error).message}`

// asFile writes an entry with its pictures as a file of JSON.
export async function asFile(e: Entry) {
  const pictures = await Promise.all(e.draft.pictures.map(async (p) => ({ name: p.name, type: p.type, data: await dataOf(p.blob) })))
  const { draft: _, ...rest } = e
  const a = document.createElement('a')
  a.href = URL.createObjectURL(new Blob([JSON.stringify({ ...rest, pictures }, null, 1)], { type: 'application/json' }))
  a.download = `job-${e.job}-${e.kept.slice(0, 10)}.json`
  a.click()
  setTimeout(() => URL.revokeObjectURL(a.href), 60_000)
}

const dataOf = (blob: Blob) => new Promise<string>((done, failed) => {
  const r = new FileReader()
  r.onload = () => done(r.result as string)
  r.onerror = () => failed(r.error)
  r.readAsDataURL(blob)
})
