import { computed, useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { get, lost, nextOf, type Parameters } from '../service'
import { useAnswer } from '../service/use'
import { param, site } from '../state/store'
import { addDrawing, type Drawing } from '../map/drawings'
import { goTo } from '../map/camera'
import { Button, Select, Trouble } from '../ui/parts'
import { plural } from '../ui/words'
import { By, ReadingOnly } from '../work/by'
import { JobPanel } from '../work/job'
import type { Job, Page } from '../work/types'
import { begin, newer, others } from './begin'
import { clock, editing, EntryCard } from './entry'
import { entries, flush, read, sending, waiting } from './queue'
import { canTake, putAway, readTaken, taken } from './take'
import { TakeThese } from './these'
import './field.css'

const job = param('field.job')

const here = computed(() => taken.value.filter((t) => !site.value || t.site === site.value))

// Where the jobs are that are taken along; the one that is open is filled.
const drawing = computed<Drawing | null>(() => here.value.length ? {
  above: true,
  sources: { 'field-jobs': { type: 'geojson', data: { type: 'FeatureCollection', features: here.value.map((t) => ({ type: 'Feature', geometry: { type: 'Point', coordinates: t.at }, properties: { open: String(t.job) === job.value } })) } } },
  layers: (look) => [{ id: 'field-jobs', type: 'circle', source: 'field-jobs', paint: { 'circle-radius': ['case', ['get', 'open'], 13, 10], 'circle-color': 'rgba(0,0,0,0)', 'circle-stroke-color': look.chosen, 'circle-stroke-width': ['case', ['get', 'open'], 5, 2.5] } }],
} : null)

// FieldView is for a crew: the jobs that are taken along, what was recorded on them
// and waits to be sent.
export function FieldView() {
  const error = useSignal('')
  useEffect(() => {
    begin()
    Promise.all([read(), readTaken()]).catch((err: Error) => { error.value = `This browser keeps nothing: ${err.message}` })
    return addDrawing('field', drawing)
  }, [])
  const id = Number(job.value)
  const open = taken.value.find((t) => t.job === id)
  useEffect(() => {
    if (open) goTo([open.at], 19)
    else if (here.value.length) goTo(here.value.map((t) => t.at), 18)
  }, [open?.job, here.value.length])
  return (
    <div class="field-view pad">
      <Trouble text={error.value} />
      <State />
      <ReadingOnly />
      {id ? (
        <>
          <p><Button onClick={() => { job.value = ''; editing.value = null }}>← All jobs taken along</Button></p>
          <h2 class="hidden">Job {id}</h2>
          <JobPanel key={id} id={id} onChanged={() => {}} />
        </>
      ) : <><Waiting /><Along /><Take /></>}
    </div>
  )
}

// State says whether there is a signal, and of when what is shown is.
function State() {
  const oldest = here.value.map((t) => t.since).sort()[0]
  return (
    <>
      <p class="signal" role="status" data-lost={lost.value}>{lost.value ? <><b>No signal.</b> {oldest ? `What is shown is as of ${clock(oldest)}, kept on this device.` : 'Nothing is kept on this device yet.'}</> : 'The service is reached.'}</p>
      {newer.value && (
        <p class="kept">A newer version of this page is ready. {others.value ? 'Close the other tabs of it first, then ' : ''}<Button onClick={() => newer.value?.postMessage('take over')}>Use it</Button></p>
      )}
    </>
  )
}

function Waiting() {
  const sent = entries.value.filter((e) => e.state === 'sent')
  const n = waiting.value.length
  return (
    <section aria-labelledby="waiting-title" id="waiting">
      <h2 id="waiting-title">{n ? `${plural(n, 'completion', 'completions')} to be sent` : 'Nothing waits to be sent'}</h2>
      {n > 0 && <By />}
      {waiting.value.map((e) => <EntryCard key={e.id} e={e} onEdit={() => { editing.value = e.id!; job.value = String(e.job) }} />)}
      {n > 0 && <Button look="main" disabled={sending.value} onClick={() => void flush()}>{sending.value ? 'Sending…' : 'Send all now'}</Button>}
      {sent.length > 0 && <details><summary>Sent since yesterday ({sent.length})</summary>{sent.map((e) => <EntryCard key={e.id} e={e} onEdit={() => {}} />)}</details>}
    </section>
  )
}

function Along() {
  const room = useSignal('')
  useEffect(() => { void navigator.storage?.estimate?.().then(({ usage }) => { room.value = usage ? ` ${Math.max(1, Math.round(usage / 1e6))} MB are used on this device.` : '' }) }, [here.value.length])
  return (
    <section aria-labelledby="along-title" id="along">
      <h2 id="along-title">Jobs taken along ({here.value.length})</h2>
      {here.value.length > 0 ? (
        <>
          <ul class="plain-list">
            {here.value.map((t) => {
              const mine = waiting.value.some((e) => e.job === t.job), done = entries.value.some((e) => e.job === t.job && e.state === 'sent')
              return (
                <li key={t.job}>
                  <button type="button" class="card card-head" data-job={t.job} onClick={() => { job.value = String(t.job) }}>
                    <b>{t.tag} <span class="soft">{t.work}</span></b>
                    <span>{t.package || 'no package'}, {t.year} · {t.species || 'species unknown'}</span>
                    <span class="soft">{mine ? 'recorded here, to be sent · ' : done ? 'sent · ' : ''}{t.state} as of {clock(t.since)}</span>
                  </button>
                </li>
              )
            })}
          </ul>
          <p class="hint">{room.value} <Button onClick={() => void putAway(here.value.map((t) => t.job))}>Put all away</Button></p>
        </>
      ) : <p class="hint">Choose a package below, with a signal: its jobs, their specifications and drawings, and the map around them are then kept on this device.</p>}
    </section>
  )
}

// jobsOf are the jobs of a site that a crew may have to do.
async function jobsOf(of: string, signal: AbortSignal) {
  const jobs: Job[] = []
  let asked: Parameters | null = { site: of, state: ['in hand', 'approved'], limit: 1000 }
  while (asked && jobs.length < 5000) {
    const page: Page & { jobs: Job[] } = await get('/jobs', asked, signal)
    jobs.push(...page.jobs)
    asked = nextOf(page)
  }
  return jobs
}

function Take() {
  const list = useAnswer(site.value ? (signal) => jobsOf(site.value, signal) : null, [site.value])
  const chosen = useSignal('')
  const packs = new Map<string, Job[]>()
  for (const j of list.value ?? []) {
    const key = JSON.stringify([j.year, j.package])
    packs.set(key, [...packs.get(key) ?? [], j])
  }
  const jobs = packs.get(chosen.value) ?? []
  return (
    <section aria-labelledby="take-title" id="take">
      <h2 id="take-title">Take along</h2>
      {!canTake() ? <p class="hint">This browser keeps nothing for the field at this address: it does so over HTTPS only. What is recorded is still kept until it is sent.</p> : (
        <>
          {list.error ? <p class="hint">{list.error} Jobs are taken along with a signal.</p>
            : <Select label="Package" value={chosen.value} choices={[['', list.busy ? 'asking…' : packs.size ? 'choose' : 'no job is approved or in hand'], ...[...packs].map(([key, of]) => [key, `${of[0]!.package || 'no package'}, ${of[0]!.year}: ${plural(of.length, 'job', 'jobs')}, ${of.filter((j) => j.state === 'in hand').length} in hand`] as const)]} onChange={(v) => { chosen.value = v }} />}
          <TakeThese jobs={jobs.map((j) => j.job_id)} look="main" />
          <p class="hint">This page can be put on the home screen from the browser's menu.</p>
        </>
      )}
    </section>
  )
}
