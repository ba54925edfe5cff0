import { useSignal } from '@preact/signals'
import { Button, Trouble } from '../ui/parts'
import { plural } from '../ui/words'
import { noRoom } from './queue'
import { canTake, readTaken, takeAlong } from './take'

const most = 200 // jobs at a time: more than a crew does before it has a signal again

// TakeThese takes jobs along, and tells how far it is.
export function TakeThese({ jobs, look = 'usual' }: { jobs: readonly number[]; look?: 'usual' | 'main' }) {
  const at = useSignal<number | null>(null), error = useSignal(''), done = useSignal(false)
  const these = jobs.slice(0, most)
  const take = async () => {
    error.value = ''
    done.value = false
    at.value = 0
    try {
      await takeAlong(these, (n) => { at.value = n })
      done.value = true
    } catch (err) {
      error.value = (err as Error).name === 'QuotaExceededError' ? noRoom(err) : (err as Error).message
      await readTaken().catch(() => {})
    }
    at.value = null
  }
  if (!canTake()) return null
  return (
    <span class="take-these">
      <Button look={look} disabled={!these.length || at.value !== null} onClick={() => void take()}>{at.value === null ? `Take ${these.length ? plural(these.length, 'job', 'jobs') : 'them'} along` : `${at.value} of ${these.length}…`}</Button>
      {jobs.length > most && <span class="hint"> The first {most} of {jobs.length}.</span>}
      <span role="status">{done.value ? ' Kept on this device: see Field.' : ''}</span>
      <Trouble text={error.value} />
    </span>
  )
}
