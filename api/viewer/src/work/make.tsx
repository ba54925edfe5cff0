import { useSignal } from '@preact/signals'
import { send } from '../service'
import { site } from '../state/store'
import { Button, Dialog, Field, Trouble } from '../ui/parts'
import { tell } from '../ui/toast'
import { By, signed, wrong } from './by'
import type { Programme } from './types'

// MakeProgramme asks for a programme: the service works it out and keeps it.
export function MakeProgramme({ open, onClose, onMade }: { open: boolean; onClose: () => void; onMade: (id: number) => void }) {
  const busy = useSignal(false), error = useSignal('')
  const next = new Date().getFullYear() + 1
  const make = (e: SubmitEvent) => {
    e.preventDefault()
    const form = new FormData(e.currentTarget as HTMLFormElement)
    const text = (name: string) => String(form.get(name) ?? '').trim()
    const budget = text('budget').split(/[\s;]+/).filter(Boolean).map(Number)
    const years = Number(text('years'))
    if (!budget.length || budget.some((b) => !(b >= 0)) || budget.length > 1 && budget.length !== years) {
      error.value = `Budget: one figure for every year, or ${years} figures with spaces between, such as 12000.`
      return
    }
    const must = text('must').split(/[\s,;]+/).filter(Boolean)
    busy.value = true
    error.value = ''
    const body = { name: text('name'), from: text('from'), years, measure: text('measure'), budget, ...(must.length ? { must } : {}) }
    send<Programme>('/programmes', { site: site.value }, { method: 'POST', body: signed(body) }).then(({ body }) => {
      tell(`Kept as programme ${body.programme_id}; nothing is proposed to crews yet.`)
      onMade(body.programme_id)
      onClose()
    }, (err: Error) => { error.value = wrong(err) }).finally(() => { busy.value = false })
  }
  return (
    <Dialog title="Plan a programme" open={open} onClose={onClose}>
      <form id="plan" onSubmit={make}>
        <p class="hint">Which trees are worked on in which year within the budget, so that the least harm is left over the years. It is kept; an older programme stays as it is.</p>
        <Field label="Name">{(p) => <input {...p} name="name" required defaultValue={`Programme ${next}`} />}</Field>
        <div class="fields">
          <Field label="First day">{(p) => <input {...p} name="from" type="date" required defaultValue={`${next}-01-01`} />}</Field>
          <Field label="Years">{(p) => <input {...p} name="years" type="number" min="1" max="30" required defaultValue="5" />}</Field>
        </div>
        <div class="fields">
          <Field label="Budget is in">{(p) => <select {...p} name="measure"><option value="hours">crew-hours</option><option value="money">money</option></select>}</Field>
          <Field label="Budget of a year" hint="One figure for all years, or one a year with spaces between.">{(p) => <input {...p} name="budget" inputMode="decimal" required />}</Field>
        </div>
        <Field label="Trees that must be done" hint="Their tags, with spaces between. May be left empty.">{(p) => <input {...p} name="must" />}</Field>
        <By />
        <Trouble text={error.value} />
        <Button type="submit" look="main" disabled={busy.value}>{busy.value ? 'Working out…' : 'Work it out and keep it'}</Button>
      </form>
    </Dialog>
  )
}
