import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { draftOf, dropDraft, flush, keepDraft, keepEntry, noRoom, read } from '../field/queue'
import { alone } from '../field/outbox'
import { Where } from '../field/position'
import { open, type Cut, type Draft, type Entry, type Otherwise } from '../field/store'
import { base, item, ofTree, type CutProps, type TreeProps } from '../service'
import { useAnswer } from '../service/use'
import { Button, Field, Select, Trouble } from '../ui/parts'
import { tell } from '../ui/toast'
import { cuts as kinds } from '../ui/words'
import type { Point } from 'geojson'
import { by } from './by'
import { labelOf, number, ofCut, ofDraft, outside } from './limits'
import type { Job } from './types'

let last = Date.now() // keys go on where a draft's end
const none = (): Cut => ({ key: ++last, kind: 'removal', count: '1', diameter_cm: '', lateral_diameter_cm: '', stub_length_cm: '', height_m: '', bearing_deg: '', reach_m: '', on_cut: '', gone: false, regrowth_left_m: '' })
const today = () => new Date(Date.now() - new Date().getTimezoneOffset() * 60_000).toISOString().slice(0, 10)
const empty = (): Draft => ({ on: today(), hours: '', dose: '', note: '', height_m: '', crown_radius_m: '', removed: false, finished: false, cuts: [], otherwise: [], pictures: [], position: null })

const share = (text: string) => { const n = number(text); return n === undefined ? n : n / 100 }
const measures = ['diameter_cm', 'lateral_diameter_cm', 'stub_length_cm', 'count', 'height_m', 'bearing_deg', 'reach_m'] as const

// left is the shoot that is left on an old cut.
const left = (c: Cut) => c.on_cut && !c.gone ? c.regrowth_left_m : ''

// faults are what cannot be of a draft.
const faults = (d: Draft) => [
  ...Object.entries(ofDraft).map(([of, limit]) => outside(limit, d[of as keyof typeof ofDraft])),
  ...d.cuts.flatMap((c, k) => [...measures.map((of) => outside(ofCut[of], c[of])), outside(ofCut.regrowth_left_m, left(c))].map((says) => says && `Cut ${k + 1}, ${says}`)),
].filter(Boolean)

// bodyOf is a draft as the service takes it.
export function bodyOf(d: Draft): Record<string, unknown> {
  return {
    on: d.on, hours: number(d.hours), dose: share(d.dose), note: d.note || undefined, height_m: number(d.height_m), crown_radius_m: number(d.crown_radius_m), removed: d.removed || undefined, finished: d.finished || undefined,
    cuts: d.cuts.map((c) => ({ kind: c.kind, ...Object.fromEntries(measures.map((of) => [of, number(c[of])])), on_cut: number(c.on_cut), gone: c.on_cut && c.gone || undefined, regrowth_left_m: number(left(c)) })),
    deviations: d.otherwise.length ? d.otherwise.map(({ what, reason }) => ({ what, reason })) : undefined, position: d.position ?? undefined,
    by: by.value.trim(), // left out where a key says it
  }
}

interface Props { j: Job; etag: string | null; again?: Entry | undefined; onKept: (id: number) => void; onLeave?: (() => void) | undefined }

// CompletionForm records what a crew did: each cut as they call it. It is kept on
// this device first, and sent from there; the service classes the cuts and says
// what is a defect. again is an entry that is gone through once more.
export function CompletionForm({ j, etag, again, onKept, onLeave }: Props) {
  const d = useSignal<Draft>(again?.draft ?? empty()), error = useSignal(''), busy = useSignal(false), found = useSignal(false)
  const old = useAnswer((signal) => ofTree<CutProps>('cuts', j.tree_id, '', signal), [j.tree_id])
  const tree = useAnswer((signal) => item<TreeProps, Point>('trees', j.tree_id, {}, signal), [j.tree_id])
  const standing = old.value?.features.filter((c) => !c.properties.gone_on) ?? []
  // What is typed is kept as it comes, and found again.
  useEffect(() => {
    if (again) return
    void draftOf(j.job_id).then((kept) => { if (kept && !found.peek()) { found.value = true; d.value = kept } }).catch(() => {})
  }, [])
  const set = (part: Partial<Draft>) => {
    d.value = { ...d.value, ...part }
    if (!again) keepDraft(j.job_id, d.value).catch((err) => { error.value = noRoom(err) })
  }
  const setCut = (key: number, part: Partial<Cut>) => set({ cuts: d.value.cuts.map((c) => c.key === key ? { ...c, ...part } : c) })
  const setOther = (key: number, part: Partial<Otherwise>) => set({ otherwise: d.value.otherwise.map((o) => o.key === key ? { ...o, ...part } : o) })
  const save = async (e: Event) => {
    e.preventDefault()
    error.value = ''
    const wrong = faults(d.value)
    if (wrong.length) {
      error.value = `This cannot be, and is not kept yet. ${wrong.join('. ')}.`
      document.querySelector<HTMLElement>('#completion [aria-invalid]')?.focus()
      return
    }
    if (!by.value.trim()) { error.value = 'Say who did the work: your name, for the record, above.'; return }
    busy.value = true
    try {
      // The same request has the same key; what is new gets one of its own.
      const entry: Entry = { key: uuid(), job: j.job_id, tag: j.tag, etag, version: j.version, was: j.state, kept: new Date().toISOString(), body: bodyOf(d.value), draft: d.value, recorded: false, state: 'waiting', tried: '', trouble: null }
      const id = again ? await alone(base, async () => {
        const now = await (await open(base)).get('entries', again.id!)
        if (!now || now.state === 'sent' || now.recorded) { await read(); throw new Error('it was sent meanwhile, as it was') }
        return keepEntry({ ...entry, id: again.id! })
      }) : await keepEntry(entry)
      tell(`What was done on job ${j.job_id} is kept on this device.`)
      await flush()
      onKept(id)
    } catch (err) {
      error.value = noRoom(err)
    } finally {
      busy.value = false
    }
  }
  const ofAll = (of: keyof typeof ofDraft) => <Field key={of} label={labelOf(ofDraft[of])} error={outside(ofDraft[of], d.value[of])}>{(p) => <input {...p} name={of} inputMode="decimal" value={d.value[of]} onInput={(e) => set({ [of]: e.currentTarget.value })} />}</Field>
  const one = (c: Cut, of: keyof typeof ofCut) => <Field key={of} label={labelOf(ofCut[of])} error={outside(ofCut[of], c[of])}>{(p) => <input {...p} name={of} inputMode="decimal" value={c[of]} onInput={(e) => setCut(c.key, { [of]: e.currentTarget.value })} />}</Field>
  const f = d.value
  return (
    <form id="completion" onSubmit={(e) => void save(e)} aria-labelledby="completion-title" aria-busy={busy.value}>
      <h3 id="completion-title">{again ? 'Go through what was recorded' : 'Record what was done'}</h3>
      {found.value && <p class="hint">As it was left on this device. <button type="button" class="usual" onClick={() => { found.value = false; void dropDraft(j.job_id); d.value = empty() }}>Begin anew</button></p>}
      <div class="fields">
        <Field label="Day">{(p) => <input {...p} type="date" name="on" required value={f.on} onInput={(e) => set({ on: e.currentTarget.value })} />}</Field>
        {(Object.keys(ofDraft) as (keyof typeof ofDraft)[]).map(ofAll)}
      </div>
      {f.cuts.map((c, k) => (
        <fieldset key={c.key} class="cut">
          <legend>Cut {k + 1}</legend>
          <div class="fields three">
            <Select label="Kind" value={c.kind} choices={kinds.map((k) => [k, k] as const)} onChange={(kind) => setCut(c.key, { kind })} />
            {measures.map((of) => one(c, of))}
            <Select label="On an old cut" value={c.on_cut} choices={[['', 'no'], ...standing.map((o) => [String(o.id), `${o.properties.kind}, ${o.properties.made_on ?? o.properties.made_year ?? 'year not recorded'}, cut no. ${o.id}`] as const)]} onChange={(on_cut) => setCut(c.key, { on_cut })} />
            {c.on_cut && !c.gone && one(c, 'regrowth_left_m')}
          </div>
          <div class="row">
            <label class="choice"><input type="checkbox" disabled={!c.on_cut} checked={!!c.on_cut && c.gone} onChange={(e) => setCut(c.key, { gone: e.currentTarget.checked })} />the wood with the old cut is gone</label>
            <Button onClick={() => set({ cuts: f.cuts.filter((o) => o.key !== c.key) })}>Leave out cut {k + 1}</Button>
          </div>
        </fieldset>
      ))}
      {f.otherwise.map((o, k) => (
        <fieldset key={o.key} class="cut"><legend>Otherwise than specified {k + 1}</legend>
          <div class="fields">
            <Field label="What">{(p) => <input {...p} required value={o.what} onInput={(e) => setOther(o.key, { what: e.currentTarget.value })} />}</Field>
            <Field label="Why">{(p) => <input {...p} required value={o.reason} onInput={(e) => setOther(o.key, { reason: e.currentTarget.value })} />}</Field>
          </div>
          <Button onClick={() => set({ otherwise: f.otherwise.filter((x) => x.key !== o.key) })}>Leave out</Button>
        </fieldset>
      ))}
      {!f.cuts.length && <p class="hint">No cut is recorded so far: add each that was made.</p>}
      <div class="row">
        <Button onClick={() => set({ cuts: [...f.cuts, none()] })}>{f.cuts.length ? 'Another cut' : 'Add a cut'}</Button>
        <Button onClick={() => set({ otherwise: [...f.otherwise, { key: ++last, what: '', reason: '' }] })}>Something otherwise than specified</Button>
      </div>
      <Field label="Note">{(p) => <textarea {...p} name="note" rows={2} value={f.note} onInput={(e) => set({ note: e.currentTarget.value })} />}</Field>
      <Where at={f.position} tree={tree.value ? tree.value.body.geometry.coordinates as [number, number] : null} onChange={(position) => set({ position })} />
      <Pictures d={f} set={set} />
      <div class="row">
        <label class="choice"><input type="checkbox" checked={f.finished} onChange={(e) => set({ finished: e.currentTarget.checked })} />the work is at its end</label>
        <label class="choice"><input type="checkbox" checked={f.removed} onChange={(e) => set({ removed: e.currentTarget.checked })} />the tree was taken down</label>
      </div>
      <Trouble text={error.value} />
      <div class="row">
        <Button look="main" type="submit" disabled={busy.value}>Record as done</Button>
        {onLeave && <Button onClick={onLeave}>Leave it as it was</Button>}
      </div>
    </form>
  )
}

// randomUUID is there over HTTPS only.
const uuid = () => crypto.randomUUID?.() ?? [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, '0')).join('')

const most = 25 << 20

// Pictures are copied when they are chosen: a file may be gone when they are sent.
function Pictures({ d, set }: { d: Draft; set: (part: Partial<Draft>) => void }) {
  const error = useSignal('')
  const add = async (files: FileList | null) => {
    error.value = ''
    const more = []
    for (const f of files ?? []) {
      if (f.size > most) error.value = `${f.name} has ${Math.round(f.size / 2 ** 20)} MB: 25 are taken.`
      else if (!/^image\/(jpeg|png|webp)$/.test(f.type)) error.value = `${f.name} is ${f.type || 'of no known kind'}: JPEG, PNG and WebP are taken.`
      else more.push({ name: f.name, type: f.type, blob: new Blob([await f.arrayBuffer()], { type: f.type }) })
    }
    set({ pictures: [...d.pictures, ...more] })
  }
  const choose = (label: string, hint: string, camera: boolean) => (
    <Field label={label} hint={hint}>{(p) => <input {...p} type="file" multiple={!camera} accept="image/jpeg,image/png,image/webp" {...(camera ? { capture: 'environment' } : {})}
      onChange={(e) => { const from = e.currentTarget; void add(from.files).then(() => { from.value = '' }) }} />}</Field>
  )
  return (
    <section aria-label="Pictures to send">
      <div class="fields">
        {choose('Pictures', 'JPEG, PNG or WebP, each up to 25 MB.', false)}
        {choose('From the camera', 'On a phone it opens at once.', true)}
      </div>
      {error.value && <p class="error" role="alert">{error.value}</p>}
      {d.pictures.length > 0 && <ul class="plain-list">{d.pictures.map((p, k) => <li key={k}>{p.name}, {Math.max(1, Math.round(p.blob.size / 1000))} kB <Button aria-label={`Leave out ${p.name}`} onClick={() => set({ pictures: d.pictures.filter((o) => o !== p) })}>Leave out</Button></li>)}</ul>}
    </section>
  )
}
