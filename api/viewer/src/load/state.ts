import { batch, signal } from '@preact/signals'
import { Problem } from '../service'
import { param, site } from '../state/store'
import { likeliest, newSite, proposed, type Plan } from './plan'
import { asked, told, upload, wrong } from './send'
import type { Run, Sent } from './types'

// What is being loaded. It stays while other views are looked at; the address names
// the file, so that the page can be opened again.
export const screen = param('load.screen', 'file')
export const file = param('load.file')
export const sent = signal<Sent | null>(null)
export const plan = signal<Plan | null>(null) // how it is to be read
export const run = signal<Run | null>(null) // the last try or load
export const sending = signal<{ name: string; share: number; stop: () => void } | null>(null)
export const trouble = signal('')

function begin(s: Sent) {
  batch(() => {
    sent.value = s
    plan.value = { ...proposed(s, likeliest(s)), site: site.value || newSite }
    run.value = null
    file.value = s.import
  })
}

// leave forgets the file, here and at the service.
export function leave(why = '') {
  const id = file.value
  batch(() => {
    sent.value = plan.value = run.value = null
    file.value = ''
    trouble.value = why
  })
  if (id) void told('DELETE', `/imports/${id}`).catch(() => undefined)
}

// take sends a file that was dropped or chosen.
export function take(files: FileList | null | undefined) {
  const f = files?.[0]
  if (!f) return
  screen.value = 'file'
  const busy = sending.value?.name ?? (run.value?.state === 'reading' ? run.value.file : '')
  if (busy) {
    trouble.value = `${f.name} is not taken: wait for ${busy} first, or stop it.`
    return
  }
  leave(files.length > 1 ? `One file at a time: ${f.name} is taken.` : '')
  const on = upload(f, (share) => { sending.value = { ...sending.value!, share } })
  sending.value = { name: f.name, share: 0, stop: on.stop }
  on.done.then(begin, (err: Problem) => { trouble.value = wrong(err) }).finally(() => { sending.value = null })
}

// reopen asks for the file that the address names, and for what was done with it.
export async function reopen() {
  const id = file.value
  if (!id || sent.value?.import === id || sending.value) return
  try {
    begin(await asked<Sent>(`/imports/${id}`))
    run.value = await asked<Run>(`/imports/${id}/run`).catch((err: Problem) => { if (err.status === 404) return null; throw err })
  } catch (err) {
    if ((err as Problem).status === 404) file.value = ''
    trouble.value = wrong(err as Error)
  }
}
