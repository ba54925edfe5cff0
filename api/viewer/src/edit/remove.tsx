import { items, jobs, type Job } from '../service'
import { useAnswer } from '../service/use'
import { Button, Dialog, Trouble } from '../ui/parts'
import { plural } from '../ui/words'
import { nameOfDraft, type Draft } from './draft'
import { remove } from './send'

// What ends a job; all others are still to be done or looked at.
const ended = ['checked', 'withdrawn']

// Removal asks before a feature is deleted, and says what goes along and which jobs
// are left without their tree.
export function Removal({ d, onClose }: { d: Draft; onClose: () => void }) {
  const along = useAnswer(async (signal) => {
    const many = async (c: string, by: string) => (await items(c, { [by]: d.id!, limit: 1 }, signal)).numberMatched ?? 0
    const tag = d.was.tag || d.was.source_id
    const [cuts, visits, counts, open] = await Promise.all([
      d.c === 'trees' ? many('cuts', 'tree_id') : 0, d.c === 'trees' ? many('visits', 'tree_id') : 0, d.c === 'targets' ? many('counts', 'target_id') : 0,
      d.c === 'trees' && tag ? jobs({ site: d.was.site, tag, limit: 1000 }, signal).then((a) => a.jobs.filter((j) => !ended.includes(j.state))) : [] as Job[],
    ])
    return { goes: [cuts && plural(cuts, 'cut', 'cuts'), visits && plural(visits, 'visit', 'visits'), counts && plural(counts, 'count', 'counts')].filter(Boolean).join(' and '), open }
  }, [d.c, d.id])
  const a = along.value
  return (
    <Dialog title={`Delete the ${nameOfDraft(d)}?`} open onClose={onClose}>
      <Trouble text={along.error} />
      {along.busy ? <p role="status">Looking what goes along…</p> : <p>{a?.goes ? `Its ${a.goes} ${/^1 \w+$/.test(a.goes) ? 'goes' : 'go'} along. ` : ''}It stays in the change log and can be brought back.</p>}
      {a && a.open.length > 0 && (
        <>
          <p><b>{plural(a.open.length, 'job is', 'jobs are')} not finished and would be without a tree:</b></p>
          <ul>{a.open.map((j) => <li key={j.job_id}>job {j.job_id}, {j.work}, {j.year}: {j.state}</li>)}</ul>
        </>
      )}
      <div class="row">
        <Button look="main" disabled={along.busy} onClick={() => { onClose(); void remove() }}>Delete it</Button>
        <Button onClick={onClose}>Keep it</Button>
      </div>
    </Dialog>
  )
}
