import { signal, useSignal } from '@preact/signals'
import { base, send } from '../service'
import { useAnswer } from '../service/use'
import { Button, Trouble } from '../ui/parts'
import { figure, plural } from '../ui/words'
import { readable } from '../work/limits'
import type { Completion, Job } from '../work/types'
import { change, waits } from './outbox'
import { asFile, flush, read, sending } from './queue'
import type { Entry } from './store'

// The entry that is gone through again.
export const editing = signal<number | null>(null)

export const clock = (iso: string) => {
  const d = new Date(iso), day = d.toDateString() === new Date().toDateString() ? '' : ` on ${d.toLocaleDateString('en-GB', { day: 'numeric', month: 'long' })}`
  return d.toLocaleTimeString('en-GB', { hour: '2-digit', minute: '2-digit' }) + day
}

const states = { waiting: 'waits to be sent', refused: 'was not taken', aside: 'kept aside', sent: 'sent' }

// EntryCard shows what was recorded on this device and has not come to the
// service, and what can be done about it.
export function EntryCard({ e, onEdit }: { e: Entry; onEdit: () => void }) {
  const sure = useSignal(false), error = useSignal('')
  const act = async (how: (now: Entry) => Entry | null, sent = true) => {
    error.value = ''
    try {
      await change(base, e.id!, (now) => now.state === 'sent' ? now : how(now))
      await read()
      if (sent) await flush()
    } catch (err) {
      error.value = (err as Error).message
    }
  }
  const aside = async () => { await asFile(e); await act((now) => ({ ...now, state: 'aside' }), false) }
  const n = e.draft.pictures.length, trouble = e.trouble, refused = e.state === 'refused' && !e.recorded
  // Only a job that the office changed is one to compare with.
  const moved = refused && (trouble?.status === 409 || trouble?.status === 412)
  return (
    <article class="entry-card" data-entry={e.job} data-state={e.state} aria-label={`Recorded on ${e.tag}`}>
      <h3>{e.tag}, job {e.job}: {e.recorded && e.state !== 'sent' ? 'its pictures: ' : ''}{states[e.state]}</h3>
      <p>{e.state === 'sent' ? `Recorded at ${clock(e.kept)}, sent at ${clock(e.tried)}.` : `Recorded at ${clock(e.kept)}, kept on this device since${n ? `, with ${plural(n, 'picture', 'pictures')} to send` : ''}.${e.recorded ? ' The completion itself is sent.' : ''}${e.tried ? ` Last tried at ${clock(e.tried)}.` : ''}`}</p>
      {trouble && e.state !== 'sent' && <p class={waits(trouble.status) ? 'hint' : 'error'}>{trouble.status === 412 ? 'The job was changed since it was read on this device.' : readable(trouble.detail)}{trouble.status === 401 || trouble.status === 403 ? ' It waits for the key of those who may edit.' : ''}</p>}
      {moved && <Compare e={e} onTop={(etag) => void act((now) => ({ ...now, etag, state: 'waiting', trouble: null }))} />}
      <Trouble text={error.value} />
      {e.state !== 'sent' && (
        <div class="row">
          {e.state === 'waiting' && <Button disabled={sending.value} onClick={() => void flush()}>Send now</Button>}
          {!e.recorded && <Button look={refused && !moved ? 'main' : 'usual'} onClick={onEdit}>Edit and send</Button>}
          {e.recorded && e.state === 'refused' && <><Button onClick={() => void act((now) => ({ ...now, state: 'waiting', trouble: null }))}>Send the pictures again</Button>
            {n > 0 && <Button onClick={() => { void asFile(e).then(() => act((now) => ({ ...now, state: 'waiting', trouble: null, draft: { ...now.draft, pictures: now.draft.pictures.slice(1) } }))) }}>Keep {e.draft.pictures[0]!.name} aside, send the rest</Button>}</>}
          {e.state === 'aside' && !e.recorded && <Button onClick={() => void act((now) => ({ ...now, state: 'waiting', trouble: null }))}>Send it after all</Button>}
          <Button onClick={() => void aside()}>{e.state === 'aside' ? 'Download it again' : 'Keep it aside'}</Button>
          {e.state === 'aside' && (sure.value
            ? <Button onClick={() => void act(() => null, false)}>Yes, delete it from this device</Button>
            : <Button onClick={() => { sure.value = true }}>Delete it</Button>)}
        </div>
      )}
    </article>
  )
}

interface Said { on: string; by: string; cuts: string[]; dose: string; note: string }
const cm = (v: unknown) => v === undefined || v === '' ? '' : `${String(v)} cm`
const none = '–'

function office(c: Completion | null): Said {
  if (!c) return { on: none, by: none, cuts: [none], dose: none, note: none }
  return { on: c.on.slice(0, 10), by: c.by, cuts: c.cuts?.map((u) => `${u.count && u.count > 1 ? `${u.count} × ` : ''}${u.kind} ${cm(u.diameter_m === undefined ? '' : figure(100 * u.diameter_m))}`) ?? [none], dose: c.dose === undefined ? none : `${figure(100 * c.dose)} %`, note: c.note || none }
}

function crew({ body: b, draft }: Entry): Said {
  const cuts = b.cuts as { kind: string; count?: number; diameter_cm?: number }[]
  return { on: String(b.on), by: String(b.by || 'by the key'), cuts: cuts.length ? cuts.map((u) => `${u.count && u.count > 1 ? `${u.count} × ` : ''}${u.kind} ${cm(u.diameter_cm)}`) : [none], dose: draft.dose.trim() ? `${draft.dose.trim()} %` : none, note: String(b.note ?? none) }
}

// Compare sets side by side what the service has by now and what was recorded here.
function Compare({ e, onTop }: { e: Entry; onTop: (etag: string | null) => void }) {
  const now = useAnswer((signal) => send<Job>(`/jobs/${e.job}`, {}, { signal }), [e.job, e.tried])
  const j = now.value?.body
  if (!j || now.value?.kept) return <><p class="hint">{now.busy ? 'Asking what the office has by now…' : 'What the office has by now cannot be seen without a signal.'}</p></>
  const a = office(j.completion), b = crew(e)
  const rows: [string, string, string][] = [
    ['job', `${j.state}, version ${j.version}`, `${e.was}, version ${e.version}`],
    ['changed', `${clock(j.changed_at)}, ${j.changed_by}`, clock(e.kept)],
    ['day', a.on, b.on], ['who', a.by, b.by], ['cuts', a.cuts.join('; '), b.cuts.join('; ')], ['live crown', a.dose, b.dose], ['note', a.note, b.note],
    ['pictures', String(j.photos?.length ?? 0), String(e.draft.pictures.length)],
  ]
  const last = j.steps.at(-1)
  const may = j.next_states.includes('done')
  return (
    <>
      <table class="side-by-side">
        <caption>{last ? `Last step: ${last.to}, by ${last.by}${last.reason ? `, ${last.reason}` : ''}` : 'What is there'}</caption>
        <thead><tr><td /><th scope="col">The office has</th><th scope="col">Recorded here</th></tr></thead>
        <tbody>{rows.map(([what, one, other]) => <tr key={what}><th scope="row">{what}</th><td>{one}</td><td>{other}</td></tr>)}</tbody>
      </table>
      {may ? <Button look="main" onClick={() => onTop(now.value!.etag)}>Record it on top of what the office has</Button>
        : <p class="hint">The job is {j.state}: work is recorded on a job that is in hand. Ask the office to take it there, edit what was recorded, or keep it aside.</p>}
    </>
  )
}
