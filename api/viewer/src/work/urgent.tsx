import { useSignal } from '@preact/signals'
import { Button, Field } from '../ui/parts'
import { tell } from '../ui/toast'
import type { Job } from './types'

interface Props { j: Job; take: (step: string, body: object) => Promise<boolean> }

// Urgent says of a job that it cannot wait, which opens days that are closed to
// others.
export function Urgent({ j, take }: Props) {
  const reason = useSignal('')
  if (j.urgent || j.state === 'done' || j.state === 'checked' || j.state === 'withdrawn') return null
  return (
    <details>
      <summary>It cannot wait</summary>
      <form id="urgent" class="row" onSubmit={(e) => { e.preventDefault(); void take('urgent', { reason: reason.value }).then((ok) => { if (ok) tell(`Job ${j.job_id} is urgent.`) }) }}>
        <Field label="Why it cannot wait">{(p) => <input {...p} required value={reason.value} onInput={(e) => { reason.value = e.currentTarget.value }} />}</Field>
        <Button type="submit">Mark it urgent</Button>
      </form>
    </details>
  )
}
