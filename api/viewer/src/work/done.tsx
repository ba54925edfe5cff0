import { useSignal } from '@preact/signals'
import { editKey, ofTree, send, type CutProps } from '../service'
import { useAnswer } from '../service/use'
import { Button, Field, Select, Trouble } from '../ui/parts'
import { tell } from '../ui/toast'
import { cuts as kinds } from '../ui/words'
import { by, wrong } from './by'
import type { Take } from './job'
import type { Job } from './types'

interface Cut { key: number; kind: string; diameter_cm: string; lateral_diameter_cm: string; stub_length_cm: string; count: string; on_cut: string; gone: boolean }
interface Otherwise { key: number; what: string; reason: string }

let last = 0
const none = (): Cut => ({ key: ++last, kind: 'removal', diameter_cm: '', lateral_diameter_cm: '', stub_length_cm: '', count: '1', on_cut: '', gone: false })

// number reads what was typed; empty is left out, and what is no number is sent as
// it is, for the service to name.
const number = (text: string) => text.trim() === '' ? undefined : Number.isFinite(Number(text.replace(',', '.'))) ? Number(text.replace(',', '.')) : text
const share = (text: string) => { const n = number(text); return typeof n === 'number' ? n / 100 : n }
const today = () => new Date(Date.now() - new Date().getTimezoneOffset() * 60_000).toISOString().slice(0, 10)

// CompletionForm records what a crew did: each cut as they call it. The service
// classes the cuts and says at once what is a defect.
export function CompletionForm({ j, take, onPhotos }: { j: Job; take: Take; onPhotos: () => Promise<void> }) {
  const f = useSignal({ on: today(), hours: '', dose: '', note: '', removed: false, finished: false })
  const cuts = useSignal<Cut[]>([none()]), otherwise = useSignal<Otherwise[]>([]), photos = useSignal<File[]>([]), error = useSignal('')
  const old = useAnswer((signal) => ofTree<CutProps>('cuts', j.tree_id, '', signal), [j.tree_id])
  const standing = old.value?.features.filter((c) => !c.properties.gone_on) ?? []
  const set = (part: Partial<typeof f.value>) => { f.value = { ...f.value, ...part } }
  const setCut = (key: number, part: Partial<Cut>) => { cuts.value = cuts.value.map((c) => c.key === key ? { ...c, ...part } : c) }
  const setOther = (key: number, part: Partial<Otherwise>) => { otherwise.value = otherwise.value.map((o) => o.key === key ? { ...o, ...part } : o) }
  const upload = async () => {
    const missed: File[] = []
    for (const file of photos.value) {
      try {
        await send(`/jobs/${j.job_id}/photos`, { name: file.name, by: editKey.get() ? '' : by.value.trim() }, { method: 'POST', body: file })
      } catch (err) {
        missed.push(file)
        tell(`${file.name}: ${wrong(err as Error)}`, 'error')
      }
    }
    photos.value = missed
    return missed.length === 0
  }
  const save = async (e: Event) => {
    e.preventDefault()
    error.value = ''
    // Pictures first: they stay with the job whatever becomes of the rest.
    const sent = photos.value.length
    if (sent && !await upload()) { error.value = 'Not every picture was taken: see why, then record again, or leave them out.'; return }
    const ok = await take('completion', {
      on: f.value.on, hours: number(f.value.hours), dose: share(f.value.dose), note: f.value.note || undefined, removed: f.value.removed || undefined, finished: f.value.finished || undefined,
      cuts: cuts.value.map((c) => ({ kind: c.kind, count: number(c.count), diameter_cm: number(c.diameter_cm), lateral_diameter_cm: number(c.lateral_diameter_cm), stub_length_cm: number(c.stub_length_cm), on_cut: number(c.on_cut), gone: c.gone || undefined })),
      deviations: otherwise.value.length ? otherwise.value.map(({ what, reason }) => ({ what, reason })) : undefined,
    })
    if (ok) tell(`What was done on job ${j.job_id} is recorded.`)
    else if (sent) await onPhotos()
  }
  return (
    <form id="completion" onSubmit={(e) => void save(e)} aria-labelledby="completion-title">
      <h3 id="completion-title">Record what was done</h3>
      <Trouble text={error.value} />
      <div class="fields">
        <Field label="Day">{(p) => <input {...p} type="date" name="on" required value={f.value.on} onInput={(e) => set({ on: e.currentTarget.value })} />}</Field>
        <Field label="Crew-hours spent">{(p) => <input {...p} name="hours" inputMode="decimal" value={f.value.hours} onInput={(e) => set({ hours: e.currentTarget.value })} />}</Field>
        <Field label="Live crown taken, %">{(p) => <input {...p} name="dose" inputMode="decimal" value={f.value.dose} onInput={(e) => set({ dose: e.currentTarget.value })} />}</Field>
      </div>
      {cuts.value.map((c, k) => (
        <fieldset key={c.key} class="cut">
          <legend>Cut {k + 1}</legend>
          <div class="fields three">
            <Select label="Kind" value={c.kind} choices={kinds.map((k) => [k, k] as const)} onChange={(kind) => setCut(c.key, { kind })} />
            {([['diameter_cm', 'Diameter, cm'], ['lateral_diameter_cm', 'Lateral cut to, cm'], ['stub_length_cm', 'Stub left, cm'], ['count', 'How many']] as const).map(([of, label]) => (
              <Field key={of} label={label}>{(p) => <input {...p} name={of} inputMode="decimal" value={c[of]} onInput={(e) => setCut(c.key, { [of]: e.currentTarget.value })} />}</Field>
            ))}
            <Select label="On an old cut" value={c.on_cut} choices={[['', 'no'], ...standing.map((o) => [String(o.id), `${o.properties.kind} ${o.properties.made_on ?? o.properties.made_year ?? ''} (${o.id})`] as const)]} onChange={(on_cut) => setCut(c.key, { on_cut })} />
          </div>
          <div class="row">
            <label class="choice"><input type="checkbox" checked={c.gone} onChange={(e) => setCut(c.key, { gone: e.currentTarget.checked })} />the wood with the old cut is gone</label>
            <Button onClick={() => { cuts.value = cuts.value.filter((o) => o.key !== c.key) }}>Leave out cut {k + 1}</Button>
          </div>
        </fieldset>
      ))}
      {otherwise.value.map((o, k) => (
        <fieldset key={o.key} class="cut"><legend>Otherwise than specified {k + 1}</legend>
          <div class="fields">
            <Field label="What">{(p) => <input {...p} required value={o.what} onInput={(e) => setOther(o.key, { what: e.currentTarget.value })} />}</Field>
            <Field label="Why">{(p) => <input {...p} required value={o.reason} onInput={(e) => setOther(o.key, { reason: e.currentTarget.value })} />}</Field>
          </div>
          <Button onClick={() => { otherwise.value = otherwise.value.filter((x) => x.key !== o.key) }}>Leave out</Button>
        </fieldset>
      ))}
      <div class="row">
        <Button onClick={() => { cuts.value = [...cuts.value, none()] }}>Another cut</Button>
        <Button onClick={() => { otherwise.value = [...otherwise.value, { key: ++last, what: '', reason: '' }] }}>Something otherwise than specified</Button>
      </div>
      <Field label="Note">{(p) => <textarea {...p} name="note" rows={2} value={f.value.note} onInput={(e) => set({ note: e.currentTarget.value })} />}</Field>
      <Field label="Pictures" hint="JPEG, PNG or WebP, each up to 25 MB.">{(p) => <input {...p} type="file" multiple accept="image/jpeg,image/png,image/webp" onChange={(e) => { photos.value = [...e.currentTarget.files ?? []] }} />}</Field>
      <div class="row">
        <label class="choice"><input type="checkbox" checked={f.value.finished} onChange={(e) => set({ finished: e.currentTarget.checked })} />the work is at its end</label>
        <label class="choice"><input type="checkbox" checked={f.value.removed} onChange={(e) => set({ removed: e.currentTarget.checked })} />the tree was taken down</label>
      </div>
      <Button look="main" type="submit">Record as done</Button>
    </form>
  )
}
