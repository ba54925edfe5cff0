import { useSignal } from '@preact/signals'
import { send } from '../service'
import { site } from '../state/store'
import { Button, Dialog, Field, Trouble } from '../ui/parts'
import { tell } from '../ui/toast'
import { By, signed, wrong } from './by'
import type { Job } from './types'

// AddJob makes a job by hand: one visit of a tree's specification.
export function AddJob({ open, onClose, onMade }: { open: boolean; onClose: () => void; onMade: (j: Job) => void }) {
  const busy = useSignal(false), error = useSignal('')
  const add = (e: SubmitEvent) => {
    e.preventDefault()
    const form = new FormData(e.currentTarget as HTMLFormElement)
    const body = { tag: String(form.get('tag')).trim(), year: Number(form.get('year')), visit: Number(form.get('visit')), urgent: form.has('urgent') }
    busy.value = true
    error.value = ''
    send<Job>('/jobs', { site: site.value }, { method: 'POST', body: signed(body) }).then(({ body }) => {
      tell(`Job ${body.job_id} on ${body.tag} is proposed for ${body.year}.`)
      onClose()
      onMade(body)
    }, (err: Error) => { error.value = wrong(err) }).finally(() => { busy.value = false })
  }
  return (
    <Dialog title="Add a job" open={open} onClose={onClose}>
      <form id="add-job" onSubmit={add}>
        <p class="hint">One visit of what is specified for a tree. It begins as proposed, with the same gates as any other.</p>
        <Field label="Tree" hint="Its tag or source id.">{(p) => <input {...p} name="tag" required />}</Field>
        <div class="fields">
          <Field label="Year">{(p) => <input {...p} name="year" type="number" min="1900" max="2200" required defaultValue={String(new Date().getFullYear() + 1)} />}</Field>
          <Field label="Visit" hint="1 for the first.">{(p) => <input {...p} name="visit" type="number" min="1" required defaultValue="1" />}</Field>
        </div>
        <label class="choice"><input type="checkbox" name="urgent" />urgent: cannot wait for its season</label>
        <By />
        <Trouble text={error.value} />
        <Button type="submit" look="main" disabled={busy.value}>Add it</Button>
      </form>
    </Dialog>
  )
}
