import { useSignal } from '@preact/signals'
import { useAnswer } from '../service/use'
import { Problem } from '../service'
import { lookAnew, param, site, sites } from '../state/store'
import { tell } from '../ui/toast'
import { Button, Field, Select, Trouble } from '../ui/parts'
import { saveAs } from '../ui/save'
import { count, plural } from '../ui/words'
import { asked, readsOnly, told, wrong } from './send'
import type { Counts, Held, HeldPage } from './types'
import { address, editKey } from '../service'

export const heldFile = param('load.of')
const step = 50

// What was typed over, by row: a value by its name, or all of the row as text.
type Typed = Record<number, { values: Record<string, string>; row?: string }>

// HeldRows lists what could not be used, for it to be corrected and read again.
export function HeldRows() {
  const again = useSignal(0), most = useSignal(step), busy = useSignal(false)
  const typed = useSignal<Typed>({})
  const says = useSignal(''), trouble = useSignal('')
  const of = site.value, file = heldFile.value
  const known = sites.value?.some((s) => s.name === of)
  const answer = useAnswer(known ? (signal) => asked<HeldPage>('/quarantine', { site: of, file, limit: most.value }, signal).catch((err: Problem) => { wrong(err); throw err.status === 404 ? new Error(readsOnly) : err }) : null, [known, of, file, most.value, again.value])
  const rows = answer.value?.held ?? [], total = answer.value?.numberMatched ?? 0
  const changed = Object.keys(typed.value).map(Number).filter((id) => rows.some((r) => r.id === id))
  const files = [...new Set([...rows.map((r) => r.file), ...(file ? [file] : [])])].sort()
  const act = <T,>(path: string, body: unknown, then: (v: T) => string) => {
    busy.value = true
    trouble.value = ''
    told<T>('POST', path, body).then((v) => { says.value = then(v); tell(says.value); again.value++; void lookAnew() }, (err: Error) => { trouble.value = wrong(err) }).finally(() => { busy.value = false })
  }
  const readmitted = (ids: number[]) => (c: Counts) => {
    const rest = { ...typed.value }
    for (const id of ids) delete rest[id]
    typed.value = rest
    return `${plural(c.read, 'row', 'rows')} read again: ${count(c.added)} added, ${count(c.updated)} updated, ${count(c.unchanged)} unchanged, ${count(c.quarantined)} still held.`
  }
  const readmit = (list: Held[]) => act<Counts>('/quarantine/readmit', {
    rows: list.map((r) => {
      const t = typed.value[r.id]
      return { id: r.id, ...(t?.row !== undefined ? { row: t.row } : t ? { values: Object.entries(t.values).map(([name, value]) => ({ name, value })) } : {}) }
    }),
  }, readmitted(list.map((r) => r.id)))
  const drop = (r: Held) => act<{ dropped: number }>('/quarantine/drop', { ids: [r.id] }, () => `Record ${count(r.record)} of ${r.file} is dismissed; it is kept on record.`)
  const download = async () => {
    try {
      const response = await fetch(address('/quarantine', { site: of, file, f: 'csv' }), { headers: editKey.get() ? { Authorization: `Bearer ${editKey.get()}` } : {} })
      if (!response.ok) throw new Error(`The service answered ${response.status}.`)
      saveAs(`held ${of}.csv`, await response.blob())
    } catch (err) {
      trouble.value = (err as Error).message
    }
  }
  return (
    <div class="held">
      <h2>Rows that could not be used</h2>
      <p class="hint">Loading holds back what it cannot use and loads the rest. Correct what is wrong and have the row read again; a row that nobody wants is dismissed.</p>
      <div class="row">
        <Select label="File" value={file} choices={[['', 'all files'], ...files.map((f) => [f, f] as const)]} onChange={(v) => { heldFile.value = v; most.value = step }} />
        {changed.length > 0 && <Button look="main" disabled={busy.value} onClick={() => readmit(rows.filter((r) => changed.includes(r.id)))}>Read the {plural(changed.length, 'corrected row', 'corrected rows')} again</Button>}
        {total > 0 && <Button disabled={busy.value || changed.length > 0} onClick={() => act<Counts>('/quarantine/readmit', { all: true, site: of, ...(file ? { file } : {}) }, readmitted([]))}>Read all {count(total)} again as they are</Button>}
        {total > 0 && <Button onClick={() => void download()}>Save as CSV</Button>}
      </div>
      <Trouble text={answer.error || trouble.value} />
      <p role="status">{says.value} {answer.value ? total === 0 ? `Nothing is held of ${of}.` : `${plural(total, 'row is', 'rows are')} held${rows.length < total ? `, the first ${count(rows.length)} shown` : ''}.` : answer.busy ? 'Asking…' : ''}</p>
      {rows.length > 0 && (
        <table class="stacked held-rows">
          <thead><tr><th scope="col">Record</th><th scope="col">What is wrong</th><th scope="col">Its values</th><th scope="col"><span class="hidden">What to do</span></th></tr></thead>
          <tbody>{rows.map((r) => <HeldRow key={r.id} r={r} typed={typed.value} onType={(t) => { typed.value = t }} busy={busy.value} onReadmit={() => readmit([r])} onDrop={() => drop(r)} />)}</tbody>
        </table>
      )}
      {rows.length < total && rows.length < 10_000 && <Button onClick={() => { most.value = Math.min(most.value + 4 * step, 10_000) }}>Show more</Button>}
    </div>
  )
}

function HeldRow({ r, typed, onType, busy, onReadmit, onDrop }: { r: Held; typed: Typed; onType: (t: Typed) => void; busy: boolean; onReadmit: () => void; onDrop: () => void }) {
  const t = typed[r.id]
  const all = useSignal(false)
  const type = (name: string, value: string, was: string) => {
    const { [name]: _, ...rest } = t?.values ?? {}
    const values = value === was ? rest : { ...rest, [name]: value }
    const { [r.id]: __, ...others } = typed
    onType(Object.keys(values).length ? { ...others, [r.id]: { values } } : others)
  }
  const atFault = r.cells.filter((c) => c.fault), rest = r.cells.filter((c) => !c.fault)
  const shown = atFault.length && !all.value ? atFault : [...atFault, ...rest]
  return (
    <tr data-held={r.id} class={t ? 'changed' : ''}>
      <th scope="row"><span class="narrow">record </span>{count(r.record)}<br /><span class="soft">{r.file}</span></th>
      <td>{r.field && <b>{r.field}: </b>}{r.reason}</td>
      <td>
        {r.cells.length === 0 ? (
          <Field label="The row as it was read">{(p) => <textarea {...p} rows={3} value={t?.row ?? r.row} onInput={(e) => onType({ ...typed, [r.id]: { values: {}, row: e.currentTarget.value } })} />}</Field>
        ) : (
          <div class="cells">
            {shown.map((c) => (
              <label key={c.name} class={c.fault ? 'fault' : ''}><span>{c.name}{c.fault && <> <i>at fault</i></>}</span>
                <input value={t?.values[c.name] ?? c.value} onInput={(e) => type(c.name, e.currentTarget.value, c.value)} />
              </label>
            ))}
            {atFault.length > 0 && rest.length > 0 && <Button look="plain" class="link" aria-expanded={all.value} onClick={() => { all.value = !all.value }}>{all.value ? 'Only what is at fault' : `The other ${plural(rest.length, 'value', 'values')}`}</Button>}
          </div>
        )}
      </td>
      <td class="do"><Button disabled={busy} onClick={onReadmit} aria-label={`Read again: record ${r.record} of ${r.file}`}>Read again</Button> <Button look="plain" disabled={busy} onClick={onDrop} aria-label={`Dismiss: record ${r.record} of ${r.file}`}>Dismiss</Button></td>
    </tr>
  )
}
