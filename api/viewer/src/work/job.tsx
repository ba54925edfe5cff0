import { useSignal, type Signal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { address, isAbort, Problem, send, type Sent } from '../service'
import { linkTo, tree, view } from '../state/store'
import { Button, Field, Trouble } from '../ui/parts'
import { tell } from '../ui/toast'
import { figure } from '../ui/words'
import { clock, editing, EntryCard } from '../field/entry'
import { entries, entryOf, read as readEntries } from '../field/queue'
import { canTake, putAway, readTaken, takeAlong, taken } from '../field/take'
import { By, reading, signed, wrong } from './by'
import { CheckFields, checkBody, unjudged, type Checked } from './check'
import { CompletionForm } from './done'
import { Completed } from './completed'
import { Urgent } from './urgent'
import type { Job } from './types'

// Take sends a step of a job from the state that is shown; it resolves to whether
// it was taken.
export type Take = (step: string, body: object) => Promise<boolean>

// JobPanel is all of one job: what to cut, what has to be settled first, its
// steps and pictures.
export function JobPanel({ id, onChanged }: { id: number; onChanged: () => void }) {
  const job = useSignal<Sent<Job> | null>(null)
  const error = useSignal(''), changed = useSignal(''), busy = useSignal(false)
  const read = async (signal?: AbortSignal) => { job.value = await send<Job>(`/jobs/${id}`, {}, signal ? { signal } : {}) }
  useEffect(() => {
    const asking = new AbortController()
    read(asking.signal).catch((err: Error) => { if (!isAbort(err)) error.value = err.message })
    return () => asking.abort()
  }, [id])
  useEffect(() => { void readEntries().catch(() => {}); void readTaken().catch(() => {}) }, [])
  // What is sent by now is read anew, whoever sent it.
  const open = entryOf(id), sent = entries.value.filter((e) => e.job === id && (e.recorded || e.state === 'sent')).length
  useEffect(() => { if (job.peek() && sent) void read().then(() => { onChanged(); inSight('#completed') }, () => {}) }, [sent, open?.draft.pictures.length])
  const take: Take = async (step, body) => {
    const was = job.value!
    busy.value = true
    error.value = changed.value = ''
    try {
      const got = await send<Job>(`/jobs/${id}/${step}`, {}, { method: 'POST', body: signed(body), ifMatch: was.etag })
      if (got.body) job.value = got
      else await read()
      onChanged()
      return true
    } catch (err) {
      error.value = wrong(err as Error)
      // Somebody else was there before: what they changed is shown, and is what the
      // next step begins from.
      if (err instanceof Problem && (err.status === 409 || err.status === 412)) {
        await read().catch(() => {})
        changed.value = difference(was.body, job.value!.body)
        if (changed.value) onChanged()
      }
      inSight('#job [role=alert]')
      return false
    } finally {
      busy.value = false
    }
  }
  const j = job.value?.body
  if (!j) return <><Trouble text={error.value} />{!error.value && <p class="soft">Opening…</p>}</>
  return (
    <div id="job" data-job={id} data-state={j.state} aria-busy={busy.value}>
      <p><a href={linkTo({ view: 'ask', tree: j.tree_id })} onClick={(e) => { e.preventDefault(); view.value = 'ask'; tree.value = j.tree_id }}>{j.tag}</a>: {j.work}, {j.package || 'no package'}, {j.year}. <b>{j.state}</b>{j.must ? ', must be done' : ''}{j.urgent ? ', urgent' : ''}{j.tree_status === 'alive' ? '' : `, the tree is ${j.tree_status || 'no longer in the inventory'}`}</p>
      {job.value!.kept && <p class="kept" role="status"><b>As of {clock(job.value!.kept)}</b>, kept on this device: the service cannot be reached.</p>}
      <Trouble text={error.value} />
      {changed.value && <p class="trouble" role="alert">The job has changed since you opened it: {changed.value} It is shown as it is now; look, and take your step again.</p>}
      <dl class="pairs">
        <dt>planned</dt><dd>{figure(j.crew_hours)} crew-hours, cost {figure(j.cost)} units of money, at most {figure(100 * j.dose)} % of the live crown</dd>
        <dt>days open</dt><dd>{j.open_days}</dd>
        <dt>quietest</dt><dd>{j.quietest || '–'}</dd>
        <dt>harm index</dt><dd>{figure(j.harm_index_before)} before, {figure(j.harm_index_predicted)} assumed after{j.harm_index_after === null ? '' : `, ${figure(j.harm_index_after)} as computed after`}</dd>
      </dl>
      {j.completion && <Completed c={j.completion} standing={j.standing_defects ?? []} />}
      <Instructions j={j} />
      <Along j={j} />
      <Gates j={j} take={take} />
      <By />
      {!reading.value && <><Steps j={j} take={take} busy={busy} /><Urgent j={j} take={take} /></>}
      {open && editing.value !== open.id && <EntryCard e={open} onEdit={() => { editing.value = open.id! }} />}
      {open && editing.value === open.id ? <CompletionForm key={open.id} j={j} etag={job.value!.kept ? open.etag : job.value!.etag} again={open} onKept={() => { editing.value = null }} onLeave={() => { editing.value = null }} />
        : !open && !reading.value && j.state === 'in hand' && <CompletionForm key="new" j={j} etag={job.value!.etag} onKept={() => inSight('.entry-card')} />}
      {!!j.photos?.length && (
        <section class="photos" aria-label="Pictures"><h3>Pictures</h3>
          {j.photos.map((p) => <a key={p.photo_id} href={address(`/jobs/${id}/photos/${p.photo_id}`)}><img src={address(`/jobs/${id}/photos/${p.photo_id}`)} alt={`${p.name}, by ${p.by}, ${p.at.slice(0, 10)}`} loading="lazy" /></a>)}
        </section>
      )}
      <details><summary>Steps so far ({j.steps.length})</summary>
        <ol class="timeline">{j.steps.map((s, k) => <li key={k}><b>{s.at.slice(0, 16).replace('T', ' ')}</b> {s.by}: {s.from === s.to ? `still ${s.to}` : s.to}{s.reason && <p>{s.reason}</p>}</li>)}</ol>
      </details>
    </div>
  )
}

const inSight = (selector: string) => setTimeout(() => document.querySelector(selector)?.scrollIntoView({ block: 'nearest' }), 50)

function difference(was: Job, is: Job): string {
  if (was.version === is.version) return ''
  const of: string[] = []
  if (was.state !== is.state) of.push(`it was ${was.state} and is ${is.state}`)
  for (const g of is.gates) {
    const old = was.gates.find((o) => o.name === g.name)
    if (!!old?.cleared !== g.cleared) of.push(`${g.name} is ${g.cleared ? 'settled' : 'not settled any more'}`)
  }
  if (JSON.stringify(was.completion) !== JSON.stringify(is.completion)) of.push('what the crew recorded is another')
  if (was.urgent !== is.urgent) of.push(is.urgent ? 'it is urgent' : 'it is no longer urgent')
  return `${of.join('; ') || 'a detail of it'} (${is.changed_by}, ${is.changed_at.slice(0, 16).replace('T', ' ')}).`
}

function Instructions({ j }: { j: Job }) {
  const s = j.specification, v = s?.visits.find((v) => v.number === j.visit)
  if (!s || !v) return null
  return (
    <section aria-labelledby="to-do">
      <h3 id="to-do">What to do, visit {v.number} of {s.visits.length}</h3>
      <p>{v.goal}</p>
      <ol>{v.items?.map((i, k) => <li key={k}>{i.text} <span class="soft">({i.cut ? `${i.cut}, ` : ''}{i.place})</span></li>)}</ol>
      <img class="drawing" src={address('/drawing.svg', { site: j.site, tag: `#${j.tree_id}` })} alt={`${j.tag} from the side, with its cuts and what is to be cut at the visit to come`} loading="lazy" />
      {(s.not?.length > 0 || s.stop) && <details><summary>What not to do, and when to stop</summary><ul>{s.not?.map((n) => <li key={n}>{n}</li>)}</ul><p>{s.stop}</p></details>}
    </section>
  )
}

// Along keeps a job on this device for where there is no signal.
function Along({ j }: { j: Job }) {
  const busy = useSignal(false), error = useSignal('')
  const mine = taken.value.find((t) => t.job === j.job_id)
  if (!canTake()) return null
  const act = async (how: Promise<unknown>) => {
    busy.value = true
    error.value = ''
    await how.catch((err: Error) => { error.value = err.message })
    busy.value = false
  }
  return (
    <div class="row along" aria-busy={busy.value}>
      {mine ? <p>Taken along at {clock(mine.since)}.</p> : null}
      <Button disabled={busy.value} onClick={() => void act(takeAlong([j.job_id], () => {}))}>{mine ? 'Take along anew' : 'Take along'}</Button>
      {mine && <Button disabled={busy.value} onClick={() => void act(putAway([j.job_id]))}>Put away</Button>}
      <Trouble text={error.value} />
    </div>
  )
}

function Gates({ j, take }: { j: Job; take: Take }) {
  if (!j.gates.length) return null
  const still = !reading.value && (j.state === 'proposed' || j.state === 'approved')
  return (
    <section aria-labelledby="gates">
      <h3 id="gates">To be settled before work begins</h3>
      <ul class="gates">
        {j.gates.map((g) => (
          <li key={g.name} data-gate={g.name}>
            <p><b>{g.name}</b>: {g.cleared ? `settled${g.by ? ` by ${g.by}` : ''}${g.on ? ` on ${g.on.slice(0, 10)}` : ''}${g.reference ? `, ${g.reference}` : ''}` : 'not settled yet.'} {!g.cleared && <span class="hint">{g.why}</span>}</p>
            {still && !g.cleared && (
              <form class="row" onSubmit={(e) => { e.preventDefault(); void take('gates', { name: g.name, reference: String(new FormData(e.currentTarget).get('reference') ?? '') }) }}>
                <Field label={`Reference of ${g.name}`}>{(p) => <input {...p} name="reference" />}</Field>
                <Button type="submit">Settle</Button>
              </form>
            )}
            {still && g.cleared && <Button onClick={() => void take('gates', { name: g.name, cleared: false })}>Not settled after all: {g.name}</Button>}
          </li>
        ))}
      </ul>
    </section>
  )
}

const says: Record<string, string> = { approved: 'Approve', 'in hand': 'Take in hand', proposed: 'Back to proposed', withdrawn: 'Withdraw' }
const forward = ['proposed', 'approved', 'in hand', 'done', 'checked']

// Steps are the ways on from where the job is. One back, or out, takes a reason.
function Steps({ j, take, busy }: { j: Job; take: Take; busy: Signal<boolean> }) {
  const reason = useSignal(''), judged = useSignal<Checked>(unjudged)
  const go = (to: string) => {
    const sent = j.state === 'done' || j.state === 'checked' && to === 'in hand'
    const done = j.state === 'done' ? take('check', { accept: to === 'checked', ...(to === 'checked' ? checkBody(judged.value) : {}), ...(reason.value ? { reason: reason.value } : {}) }) : take('state', { to, ...(reason.value ? { reason: reason.value } : {}) })
    void done.then((ok) => { if (ok) { reason.value = ''; tell(`Job ${j.job_id} is ${sent && to === 'checked' ? 'checked' : to}.`) } })
  }
  const name = (to: string) => j.state === 'done' ? to === 'checked' ? 'Accept' : 'Send back' : to === 'approved' && j.state === 'in hand' ? 'Back to approved' : to === 'in hand' && j.state === 'checked' ? 'Back to the crew' : to === 'proposed' && j.state === 'withdrawn' ? 'Propose again' : says[to] ?? to
  const steps = j.next_states.filter((s) => s !== 'done')
  return (
    <section aria-labelledby="next">
      <h3 id="next">Next step</h3>
      {j.state === 'done' && <p class="hint">Somebody else than the crew checks the work. With defects, accepting needs a reason.</p>}
      {j.state === 'done' && <CheckFields c={judged.value} onChange={(c) => { judged.value = c }} />}
      <Field label="Reason" hint="Needed for a step back or out; kept with your name.">{(p) => <input {...p} value={reason.value} onInput={(e) => { reason.value = e.currentTarget.value }} />}</Field>
      <div class="row steps">
        {steps.map((to) => <Button key={to} data-to={to} disabled={busy.value} look={forward.indexOf(to) > forward.indexOf(j.state) && j.state !== 'withdrawn' ? 'main' : 'usual'} onClick={() => go(to)}>{name(to)}</Button>)}
      </div>
    </section>
  )
}
