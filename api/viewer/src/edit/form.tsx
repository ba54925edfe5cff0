import { useSignal } from '@preact/signals'
import { editKey } from '../service'
import { sites } from '../state/store'
import { Button, Field, Trouble } from '../ui/parts'
import { changes, draft, faultOf, nameOfDraft, ownShape, refused, touched, type } from './draft'
import { busy, save, trouble } from './send'
import { Place } from './place'
import { Removal } from './remove'
import { By, wantsKey } from '../work/by'
import type { Spec } from './schema'

// Form holds all that can be edited of a feature, field by field as the service
// describes it.
export function Form({ onLeave }: { onLeave: () => void }) {
  const d = draft.value!
  const asking = useSignal(false)
  const { faults, any } = changes.value
  const wrong = Object.keys(faults).length
  const submit = (e: Event) => {
    e.preventDefault()
    if (wrong) {
      touched.value = new Set([...touched.value, ...Object.keys(faults)])
      setTimeout(() => document.querySelector<HTMLElement>('#edit [aria-invalid="true"], #fault-geometry')?.focus(), 50)
      return
    }
    void save().then((ok) => { if (!ok && refused.value) setTimeout(() => document.querySelector<HTMLElement>('#edit [aria-invalid="true"]')?.focus(), 50) })
  }
  // What the service says of a field that this form does not have.
  const elsewhere = refused.value && refused.value.property !== 'geometry' && !d.specs.some((s) => s.name === refused.value!.property) ? refused.value.text : ''
  return (
    <form id="form" onSubmit={submit} noValidate aria-label={nameOfDraft(d)}>
      {ownShape(d.c) && <Place />}
      <div class="fields">{d.specs.map((s) => <One key={s.name} s={s} />)}</div>
      {!editKey.get() && !wantsKey.value && <By />}
      <Trouble text={trouble.value || elsewhere} />
      {wrong > 0 && touched.value.size > 0 && <p class="hint" role="status">{wrong} {wrong === 1 ? 'field is' : 'fields are'} not right yet.</p>}
      <div class="row ends">
        <Button type="submit" look="main" disabled={busy.value || d.id !== null && !any}>{d.id === null ? 'Add it' : 'Save'}</Button>
        <Button disabled={busy.value} onClick={onLeave}>{any ? 'Drop the changes' : 'Close'}</Button>
        {d.id !== null && <Button disabled={busy.value} onClick={() => { asking.value = true }}>Delete</Button>}
      </div>
      {asking.value && <Removal d={d} onClose={() => { asking.value = false }} />}
    </form>
  )
}

function One({ s }: { s: Spec }) {
  const d = draft.value!
  const v = d.now[s.name] ?? ''
  const on = (e: { currentTarget: { value: string } }) => type(s.name, e.currentTarget.value)
  const fault = faultOf(s.name)
  const choices = s.name === 'site' ? sites.value?.map((x) => x.name) : s.type === 'boolean' ? ['true', 'false'] : s.enum
  // The unit stands beside the name.
  const hint = s.description?.replace(/^in [^;]+(; |$)/, '')
  const must = s.required || !!s.default
  return (
    <Field label={s.title + (s.required ? ', needed' : '')} {...(hint ? { hint } : {})} {...(fault ? { error: fault } : {})}>
      {(p) => choices ? (
        <select {...p} name={s.name} value={v} onChange={on}>
          {(!must || v === '') && <option value="">–</option>}
          {v && !choices.includes(v) && <option value={v}>{v}</option>}
          {choices.map((c) => <option key={c} value={c}>{c === 'true' ? 'yes' : c === 'false' ? 'no' : c.replaceAll('_', ' ')}</option>)}
        </select>
      ) : s.type === 'object' || s.name === 'note' ? <textarea {...p} name={s.name} rows={2} value={v} onInput={on} />
        : s.format === 'date' ? <input {...p} name={s.name} type="date" value={v} onInput={on} />
        : <input {...p} name={s.name} {...(s.type === 'number' || s.type === 'integer' ? { inputMode: 'decimal' as const } : {})} autocomplete="off" value={v} onInput={on} />}
    </Field>
  )
}
