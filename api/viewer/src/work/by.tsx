import { effect, signal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { editKey, mayEdit, Problem } from '../service'
import { Button, Field } from '../ui/parts'

// Who does what is recorded here: typed once, and kept by the browser.
const name = 'underbough-by'
const read = () => { try { return localStorage.getItem(name) ?? '' } catch { return '' } }
export const by = signal(read())
effect(() => { try { localStorage.setItem(name, by.value) } catch { /* a browser that keeps nothing */ } })

// signed adds to a body who sends it, unless a key says so.
export const signed = <T extends object>(body: T) => editKey.get() ? body : { ...body, by: by.value.trim() }

// Whether the service is for reading only: unknown is no.
export const reading = signal(false)

// ReadingOnly says so, once on a screen.
export function ReadingOnly() {
  useEffect(() => { mayEdit().then((may) => { reading.value = !may }, () => {}) }, [])
  return reading.value ? <p class="kept pad" role="status">This service is for reading only: nothing is planned or recorded here.</p> : null
}

export const wantsKey = signal(false)

// wrong is what to say of an error; it asks for the key where the service does.
export function wrong(err: Error): string {
  if (!(err instanceof Problem)) return err.message
  if (err.status === 401 || err.status === 403) wantsKey.value = true
  if (err.status === 405) return 'This service is for reading only: nothing can be planned or recorded here. Whoever runs it can turn editing on.'
  return err.message
}

export function By() {
  if (reading.value) return null
  return (
    <div class="by">
      <Field label="Your name, for the record">{(p) => <input {...p} autocomplete="name" value={by.value} onChange={(e) => { by.value = e.currentTarget.value }} />}</Field>
      {wantsKey.value && (
        <form class="row" onSubmit={(e) => { e.preventDefault(); editKey.set(String(new FormData(e.currentTarget).get('key'))); wantsKey.value = false }}>
          <Field label="Key of those who may edit">{(p) => <input {...p} name="key" type="password" autocomplete="off" />}</Field>
          <Button type="submit">Use it</Button>
        </form>
      )}
    </div>
  )
}
