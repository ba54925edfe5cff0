import { signal } from '@preact/signals'
import { address, editKey, Problem, send } from '../service'
import type { Sent } from './types'

// Files are read by those who may edit: every request brings their key.
export const wantsKey = signal(false)
export const readsOnly = 'This service takes no files: it is for reading only. Whoever runs it can turn editing on.'

export const wrong = (err: Error) => {
  if (err instanceof Problem && err.status === 401) wantsKey.value = true
  return err.message
}

export const asked = async <T>(path: string, parameters = {}, signal?: AbortSignal) => (await send<T>(path, parameters, { keyed: true, ...(signal ? { signal } : {}) })).body
export const told = async <T>(method: string, path: string, body?: unknown) => (await send<T>(path, {}, { method, ...(body === undefined ? {} : { body }) })).body

// upload sends a file as it lies on the disk: it is never held in memory. fetch
// does not tell how much has gone out; this does.
export function upload(file: File, onProgress: (share: number) => void): { done: Promise<Sent>; stop: () => void } {
  const x = new XMLHttpRequest()
  const done = new Promise<Sent>((resolve, reject) => {
    x.open('POST', address('/imports', { name: file.name }))
    x.setRequestHeader('Content-Type', 'application/octet-stream')
    if (editKey.get()) x.setRequestHeader('Authorization', `Bearer ${editKey.get()}`)
    x.upload.onprogress = (e) => { if (e.lengthComputable) onProgress(e.loaded / e.total) }
    x.onload = () => {
      let said: Record<string, unknown> = {}
      try { said = JSON.parse(x.responseText) } catch { /* nothing is said */ }
      if (x.status === 201) return resolve(said as unknown as Sent)
      reject(new Problem(x.status, x.status === 404 ? readsOnly : String(said.detail ?? `The service answered ${x.status}.`)))
    }
    x.onerror = () => reject(new Problem(0, 'The file cannot be sent: the service cannot be reached, or the file cannot be read. A folder cannot be sent.'))
    x.onabort = () => reject(new Problem(0, ''))
    x.send(file)
  })
  return { done, stop: () => x.abort() }
}
