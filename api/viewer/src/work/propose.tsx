import { useSignal } from '@preact/signals'
import { send } from '../service'
import { Button, Trouble } from '../ui/parts'
import { tell } from '../ui/toast'
import { plural } from '../ui/words'
import { By, signed, wrong } from './by'
import type { Programme } from './types'

// Propose makes the jobs of a programme, once.
export function Propose({ p, onProposed }: { p: Programme; onProposed: () => void }) {
  const asked = useSignal(false), busy = useSignal(false), error = useSignal('')
  if (p.proposed_at) return null
  const propose = () => {
    busy.value = true
    error.value = ''
    send<{ jobs: number; withdrawn: number; gone: string[] }>(`/programmes/${p.programme_id}/jobs`, {}, { method: 'POST', body: signed({}) }).then(({ body }) => {
      tell(`${plural(body.jobs, 'job is', 'jobs are')} proposed${body.withdrawn ? `, ${body.withdrawn} of an older programme withdrawn` : ''}.${body.gone.length ? ` Not proposed, for they stand no longer or are in work: ${body.gone.join(', ')}.` : ''}`)
      onProposed()
    }, (err: Error) => { error.value = wrong(err) }).finally(() => { busy.value = false })
  }
  if (!asked.value) return <Button id="propose" onClick={() => { asked.value = true }}>Propose its jobs…</Button>
  return (
    <section class="by" aria-label="Propose its jobs">
      <p>A job is made of each visit of {plural(p.planned, 'tree', 'trees')}. Jobs of an older programme that nobody has approved are withdrawn.</p>
      <By />
      <Trouble text={error.value} />
      <div class="row"><Button look="main" disabled={busy.value} onClick={propose}>Propose</Button><Button onClick={() => { asked.value = false }}>Leave it</Button></div>
    </section>
  )
}
