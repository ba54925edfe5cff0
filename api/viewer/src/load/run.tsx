import { batch, useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { Problem } from '../service'
import { asOf, askNothing, camera, lookAnew, site, tree, view } from '../state/store'
import { Button, Trouble } from '../ui/parts'
import { count, plural } from '../ui/words'
import { heldFile } from './held'
import { asked, told, wrong } from './send'
import { leave, run as last, screen } from './state'
import type { Counts, Run } from './types'
import { Bar } from './view'

const every = 400 // ms between two questions about a run in hand

// RunScreen follows a try or a load to its end and says what came of it.
export function RunScreen({ id, run }: { id: string; run: Run }) {
  const trouble = useSignal('')
  const title = useRef<HTMLHeadingElement>(null)
  const going = run.state === 'reading'
  useEffect(() => {
    if (!going) return
    const asking = new AbortController()
    const timer = setTimeout(() => {
      asked<Run>(`/imports/${id}/run`, {}, asking.signal).then((r) => { trouble.value = ''; last.value = r }, (err: Problem) => {
        if (asking.signal.aborted) return
        if (err.status === 404) return leave(`The service was started again while ${run.file} was being read. What was not finished has changed nothing; ${run.dry_run ? 'try it again.' : 'send the file again: if it had just ended, all of its records will count as unchanged.'}`)
        trouble.value = err.status ? wrong(err) : 'The service cannot be reached just now; it is asked again. What it does not finish changes nothing.'
        last.value = { ...run }
      })
    }, every)
    return () => { clearTimeout(timer); asking.abort() }
  }, [run])
  // The end is read out, and the keys go on from there.
  useEffect(() => {
    title.current?.focus()
    if (run.state === 'ended' && !run.dry_run) void lookAnew()
  }, [run.state, run.dry_run])
  const stop = () => told<Run>('DELETE', `/imports/${id}/run`).then((r) => { last.value = r }, (err: Error) => { trouble.value = wrong(err) })
  const into = <>{run.dry_run ? 'Trying' : 'Loading'} {run.file} into {run.site}</>
  if (going) {
    const all = run.bytes_read >= run.bytes && run.bytes > 0
    return (
      <section class="run" aria-label="How far it is">
        <h3 tabIndex={-1} ref={title}>{into}</h3>
        <Bar share={run.bytes ? run.bytes_read / run.bytes : 0} label="read" />
        <p role="status">{plural(run.records, 'record', 'records')} so far{run.records === 0 ? '; waiting for its turn' : all ? '; matching with what is there' : ''}</p>
        <Trouble text={trouble.value} />
        <Button onClick={stop}>Stop</Button>
      </section>
    )
  }
  const c = run.counts
  return (
    <section class="run" aria-label="What came of it">
      <h3 tabIndex={-1} ref={title}>{c ? run.dry_run ? `Tried: ${run.file} would come to this in ${run.site}` : `Loaded: ${run.file} into ${run.site}` : run.state === 'stopped' ? 'Stopped: nothing has changed' : 'Not done: nothing has changed'}</h3>
      <Trouble text={trouble.value || run.problem?.detail || ''} />
      {c && <Sum c={c} of={run.as} seconds={run.seconds} />}
      {c?.read === c?.quarantined && c && c.read > 0 && <p class="error">No record could be used: is this the right file, and the right kind of record?</p>}
      {c && c.broken > 0 && <p class="error">The file breaks off or is damaged: what came after the last record held was not read.</p>}
      {run.first_held.length > 0 && (
        <details open={run.dry_run}>
          <summary>{run.dry_run ? 'What would be held' : 'What was held'}{c!.quarantined > run.first_held.length ? `, the first ${count(run.first_held.length)} of ${count(c!.quarantined)}` : ''}</summary>
          <table class="stacked problems">
            <thead><tr><th scope="col">Record</th><th scope="col">Column</th><th scope="col">What is wrong</th></tr></thead>
            <tbody>{run.first_held.map((h, i) => <tr key={i}><td><span class="narrow">record </span>{count(h.record)}</td><td>{h.field || 'all of it'}</td><td>{h.reason}</td></tr>)}</tbody>
          </table>
        </details>
      )}
      {c && !run.dry_run && (
        <div class="row">
          {c.quarantined > 0 && <Button look="main" onClick={() => { heldFile.value = run.file; site.value = run.site; screen.value = 'held' }}>Correct the {plural(c.quarantined, 'held row', 'held rows')}</Button>}
          {c.read > c.quarantined && <Button onClick={() => show(run)}>See them on the map</Button>}
        </div>
      )}
    </section>
  )
}

export function Sum({ c, of, seconds }: { c: Counts; of: string; seconds?: number }) {
  const rows = [['read', c.read], ['added', c.added], ['updated', c.updated], ['unchanged', c.unchanged], ['left out by a condition', c.left_out], ['held', c.quarantined]] as const
  const cuts = c.cuts_added + c.cuts_updated + c.cuts_unchanged
  return (
    <>
      <dl class="sums" data-counts={rows.map(([, n]) => n).join()}>{rows.map(([w, n]) => <div key={w}><dt>{w}</dt><dd>{count(n)}</dd></div>)}</dl>
      <p class="hint">Records of {of}; read is the sum of the others.{seconds !== undefined && ` It took ${seconds.toFixed(1)} s.`}{cuts > 0 && ` Cuts inside the trees: ${count(c.cuts_added)} added, ${count(c.cuts_updated)} updated, ${count(c.cuts_unchanged)} unchanged.`}{c.repaired > 0 && ` ${plural(c.repaired, 'invalid shape', 'invalid shapes')} repaired.`}{!!c.summed && ` ${plural(c.summed, 'further record', 'further records')} summed into hours.`}</p>
    </>
  )
}

// show goes to the map, on what was loaded.
function show(run: Run) {
  batch(() => {
    askNothing()
    asOf.value = ''
    tree.value = null
    site.value = run.site
    if (run.box.length === 4) camera.value = over(run.box as [number, number, number, number])
    view.value = 'ask'
  })
}

// over looks on a box from as near as shows all of it.
function over([west, south, east, north]: [number, number, number, number]) {
  const y = (lat: number) => Math.log(Math.tan(Math.PI / 4 + lat * Math.PI / 360)) / (2 * Math.PI)
  const phone = innerWidth <= 720
  const w = Math.max(phone ? innerWidth : innerWidth - 440, 200) * 0.8, h = Math.max(phone ? innerHeight / 2 : innerHeight - 120, 200) * 0.8
  const zoom = Math.min(Math.log2(w * 360 / 512 / Math.max(east - west, 1e-6)), Math.log2(h / 512 / Math.max(y(north) - y(south), 1e-9)), 17)
  return { lon: (west + east) / 2, lat: (south + north) / 2, zoom: Math.max(zoom, 1) }
}
