import { useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { address, get, nextOf, programmes, type Parameters } from '../service'
import { useAnswer } from '../service/use'
import { param, site } from '../state/store'
import { Button, Dialog, Select, Trouble } from '../ui/parts'
import { figure, plural } from '../ui/words'
import { AddJob } from './add'
import { TakeThese } from '../field/these'
import { reading } from './by'
import { JobPanel } from './job'
import { states, type Job, type Page } from './types'

const year = param('work.jobs_year', 'next'), pack = param('work.package'), shownState = param('work.state', 'proposed'), job = param('work.job'), withdrawn = param('work.withdrawn')
const most = 60 // cards of a column before it is asked for more

// jobsOf gathers jobs, a few thousand at the most.
async function jobsOf(asked: Parameters | null, signal: AbortSignal) {
  const jobs: Job[] = []
  while (asked && jobs.length < 5000) {
    const page: Page & { jobs: Job[] } = await get('/jobs', asked, signal)
    jobs.push(...page.jobs)
    asked = nextOf(page)
  }
  return { jobs, whole: !asked }
}

// JobsBoard shows jobs by how far they have come.
export function JobsBoard() {
  const again = useSignal(0), adding = useSignal(false)
  const plans = useAnswer((signal) => programmes(site.value, signal), [site.value])
  const years = [...new Set(plans.value?.programmes.flatMap((p) => p.years.map((y) => y.year)) ?? [])].sort()
  const now = year.value === 'next' ? String((plans.value?.programmes.find((p) => (p as { proposed_at?: string | null }).proposed_at) ?? plans.value?.programmes[0])?.years[0]?.year ?? '') : year.value === 'all' ? '' : year.value
  const list = useAnswer(plans.busy ? null : (signal) => jobsOf({ site: site.value, year: now, limit: 1000 }, signal), [plans.busy, now, again.value])
  // The focus goes back to the card that was opened, and along with it where an
  // answer that comes later puts it into another column.
  const opened = useRef('')
  const refocus = () => {
    if (opened.current && !document.querySelector('dialog[open]') && document.activeElement === document.body) document.getElementById(`job-${opened.current}`)?.focus()
  }
  useEffect(refocus, [list.busy, list.value])
  const all = list.value?.jobs ?? []
  const names = [...new Set(all.map((j) => j.package))].sort()
  const here = pack.value ? all.filter((j) => j.package === pack.value) : all
  const columns = states.filter((s) => s !== 'withdrawn' || withdrawn.value)
  const sheet = { site: site.value, year: now, package: pack.value }
  return (
    <>
      <h2 class="hidden">Jobs</h2>
      <div class="row head">
        <Select label="Year" value={now || 'all'} choices={[...years.map((y) => [String(y), String(y)] as const), ['all', 'all years']]} onChange={(v) => { year.value = v; pack.value = '' }} />
        <Select label="Package" value={pack.value} choices={[['', 'all packages'], ...names.map((n) => [n, n || 'no package'] as const)]} onChange={(v) => { pack.value = v }} />
        <label class="choice"><input type="checkbox" checked={!!withdrawn.value} onChange={(e) => { withdrawn.value = e.currentTarget.checked ? '1' : '' }} />withdrawn too</label>
        {!reading.value && <Button onClick={() => { adding.value = true }}>Add a job…</Button>}
        <p>{now && pack.value ? <>Crew sheet: <a href={address('/crew-sheet', { ...sheet, f: 'html' })}>page</a>, <a href={address('/crew-sheet', { ...sheet, f: 'pdf' })}>PDF</a>. </> : 'Choose a year and a package for its crew sheet. '}
          Bid sheet: <a href={address('/bid-sheet', { ...sheet, f: 'xlsx' })} download>XLSX</a>, <a href={address('/bid-sheet', { ...sheet, f: 'csv' })} download>CSV</a>. Report: <a href={address('/report', { site: site.value, f: 'html' })}>page</a>, <a href={address('/report', { site: site.value, f: 'pdf' })}>PDF</a>.</p>
      </div>
      {pack.value && <p><TakeThese jobs={here.filter((j) => j.state === 'approved' || j.state === 'in hand').map((j) => j.job_id)} /></p>}
      <Trouble text={plans.error || list.error} />
      <p class="says" role="status">{list.busy || plans.busy ? 'Asking…' : `${plural(here.length, 'job', 'jobs')}${list.value?.whole === false ? ', the first of more' : ''}${here.some((j) => j.state === 'withdrawn') && !withdrawn.value ? `, ${here.filter((j) => j.state === 'withdrawn').length} of them withdrawn` : ''}`}</p>
      <div class="on-phone"><Select label="How far they have come" value={shownState.value} choices={columns.map((s) => [s, `${s}: ${here.filter((j) => j.state === s).length}`] as const)} onChange={(v) => { shownState.value = v }} /></div>
      <div class="columns" id="jobs">
        {columns.map((s) => <Column key={s} state={s} jobs={here.filter((j) => j.state === s)} chosen={s === shownState.value} />)}
      </div>
      <AddJob open={adding.value} onClose={() => { adding.value = false }} onMade={(j) => { again.value++; if (now) year.value = String(j.year); pack.value = ''; job.value = String(j.job_id) }} />
      <Dialog title={job.value ? `Job ${job.value}` : 'Job'} open={!!job.value} onClose={() => {
        opened.current = job.value
        job.value = ''
        setTimeout(() => { document.getElementById(`job-${opened.current}`)?.focus() }, 50)
      }}>
        <JobPanel id={Number(job.value)} onChanged={() => { again.value++ }} />
      </Dialog>
    </>
  )
}

function Column({ state, jobs, chosen }: { state: string; jobs: Job[]; chosen: boolean }) {
  const all = useSignal(false)
  const shown = all.value ? jobs : jobs.slice(0, most)
  return (
    <section class={'column' + (chosen ? ' chosen' : '')} data-state={state} aria-labelledby={`state-${state}`}>
      <h3 id={`state-${state}`}>{state} <span class="soft">{jobs.length}</span></h3>
      <div class="cards" tabIndex={0} role="group" aria-label={`Jobs ${state}`}>
        {shown.map((j) => <JobCard key={j.job_id} j={j} />)}
        {shown.length < jobs.length && <Button onClick={() => { all.value = true }}>Show all {jobs.length}</Button>}
      </div>
    </section>
  )
}

function JobCard({ j }: { j: Job }) {
  const gates = j.gates.filter((g) => !g.cleared), defects = j.standing_defects?.length ?? 0
  return (
    <button type="button" id={`job-${j.job_id}`} class="card card-head" aria-haspopup="dialog" onClick={() => { job.value = String(j.job_id) }}>
      <b>{j.tag} <span class="soft">{j.work}</span></b>
      <span>{j.package || 'no package'}, {j.year} · {figure(j.crew_hours)} h{j.must ? ' · must be done' : ''}{j.urgent ? ' · urgent' : ''}</span>
      {gates.length > 0 && j.state !== 'withdrawn' && j.state !== 'checked' && <span>not settled yet: {gates.map((g) => g.name).join(', ')}</span>}
      {defects > 0 && <span class="over-budget">{plural(defects, 'defect', 'defects')}</span>}
    </button>
  )
}
