import { useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { sites } from '../state/store'
import { Button, Field, Select, Trouble, type Choice } from '../ui/parts'
import { count, word } from '../ui/words'
import { bodyOf, fieldOf, lacks, likeliest, newSite, placesOf, proposed, roleOf, type Plan } from './plan'
import { RunScreen } from './run'
import { told, wrong } from './send'
import { leave, plan, run } from './state'
import type { Column, Run, Sent } from './types'
import { fault, fieldWord, roleWords, sizeOf, unitWord } from './words'

type Change = (parts: Partial<Plan>) => void
interface Parts { of: Sent; plan: Plan; change: Change }

// Mapped is a file that was sent: what its records are, where each field comes
// from, and then how trying and loading it goes.
export function Mapped({ of, p }: { of: Sent; p: Plan }) {
  const busy = useSignal(false), refused = useSignal('')
  const title = useRef<HTMLHeadingElement>(null)
  useEffect(() => title.current?.focus(), [])
  const change: Change = (parts) => { plan.value = { ...p, ...parts } }
  const start = (how: 'try' | 'run') => {
    busy.value = true
    refused.value = ''
    told<Run>('POST', `/imports/${of.import}/${how}`, bodyOf(of, p)).then((r) => { run.value = r }, (err: Error) => { refused.value = wrong(err) }).finally(() => { busy.value = false })
  }
  const wants = lacks(of, p)
  const r = run.value
  const loaded = r?.state === 'ended' && !r.dry_run
  const going = r?.state === 'reading'
  const parts = { of, plan: p, change }
  return (
    <>
      <div class="row file-head">
        <h2 tabIndex={-1} ref={title}>{of.name}</h2>
        <p class="soft">{sizeOf(of.bytes)}, {of.format === 'csv' ? 'CSV' : 'GeoJSON'}, {count(of.columns.length)} columns</p>
        <Button onClick={() => leave()} disabled={going}>Another file</Button>
      </div>
      {r && <RunScreen id={of.import} run={r} />}
      {!going && !loaded && (
        <>
          <What {...parts} />
          <Columns {...parts} />
          <ForAll {...parts} />
          <Trouble text={refused.value} />
          {wants.length > 0 && <div class="lacks" role="status"><p>Before it can be read:</p><ul>{wants.map((w) => <li key={w}>{w}</li>)}</ul></div>}
          <div class="row go">
            <Button disabled={busy.value || wants.length > 0} onClick={() => start('try')}>Try: read it all, write nothing</Button>
            <Button look="main" disabled={busy.value || wants.length > 0} onClick={() => start('run')}>Load into {p.site.replace(newSite, '') || '…'}</Button>
          </div>
        </>
      )}
    </>
  )
}

function What({ of, plan: p, change }: Parts) {
  const r = roleOf(of, p)
  const isNew = p.site.startsWith(newSite)
  const columns: Choice[] = [['', '–'], ...of.columns.map((c) => [c.name, c.name] as const)]
  const zone = isNew && !zones.includes(p.timeZone)
  return (
    <section aria-label="What the file is">
      <div class="fields four">
        <Select label="The records are" value={p.as} choices={of.roles.map((x) => [x.as, roleWords[x.as] ?? x.as] as const)} onChange={(as) => change(proposed(of, as, p))} {...(p.as === likeliest(of) ? { hint: 'proposed by the columns’ names' } : {})} />
        <Select label="Site" value={isNew ? newSite : p.site} choices={[...(sites.value ?? []).map((s) => [s.name, s.name] as const), [newSite, 'a new site …']]} onChange={(v) => change({ site: v })} />
        {isNew && <Field label="Name of the new site">{(a) => <input {...a} value={p.site.slice(1)} onInput={(e) => change({ site: newSite + e.currentTarget.value })} />}</Field>}
        {isNew && <Field label="Its time zone" {...(zone ? { error: 'no time zone that this browser knows, such as Europe/Zurich' } : {})}>{(a) => <><input {...a} list="zones" value={p.timeZone} onChange={(e) => change({ timeZone: e.currentTarget.value })} /><datalist id="zones">{zones.map((z) => <option key={z} value={z} />)}</datalist></>}</Field>}
        {r.located && of.format === 'csv' && (
          <>
            <Select label="Longitude from" value={p.longitude} choices={columns} onChange={(v) => change({ longitude: v, wkt: '' })} />
            <Select label="Latitude from" value={p.latitude} choices={columns} onChange={(v) => change({ latitude: v, wkt: '' })} />
            <Select label="or well-known text from" value={p.wkt} choices={columns} onChange={(v) => change({ wkt: v, longitude: '', latitude: '' })} />
          </>
        )}
        {(p.as === 'targets' || p.as === 'counts') && <Field label="Layer" hint={p.as === 'targets' ? 'ids are unique in it; the file’s name without one' : 'that the places are of; any without one'}>{(a) => <input {...a} value={p.layer} onInput={(e) => change({ layer: e.currentTarget.value })} />}</Field>}
        {r.located && <Field label="Hold if farther (km)" hint="from the middle of the site; 0 holds none">{(a) => <input {...a} inputMode="decimal" value={p.maxKM} onInput={(e) => change({ maxKM: e.currentTarget.value })} />}</Field>}
      </div>
      {r.located && <p class="hint">Positions are read as longitude and latitude on WGS 84 (degrees).</p>}
    </section>
  )
}

const zones: string[] = [...Intl.supportedValuesOf('timeZone'), 'UTC']

function Columns({ of, plan: p, change }: Parts) {
  const places = placesOf(p)
  const list = of.columns.filter((c) => roleOf(of, p).located || !places.includes(c.name))
  const read = list.filter((c) => places.includes(c.name) || p.columns[c.name]).length
  return (
    <section aria-labelledby="columns-title">
      <h3 id="columns-title">Where each field comes from</h3>
      <p class="hint">{count(read)} of {count(list.length)} columns are read. The others are kept with each record as they are, and nothing is computed from them. Values are from the first {count(of.sampled)} records.</p>
      <table class="columns-table stacked">
        <thead><tr><th scope="col">Column</th><th scope="col">Some of its values</th><th scope="col">Read as</th><th scope="col">Unit</th></tr></thead>
        <tbody>{list.map((c) => <Row key={p.as + c.name} c={c} of={of} plan={p} change={change} place={places.includes(c.name)} />)}</tbody>
      </table>
    </section>
  )
}

function Row({ c, of, plan: p, change, place }: Parts & { c: Column; place: boolean }) {
  const r = roleOf(of, p)
  const rule = p.columns[c.name]
  const f = rule && fieldOf(r, rule.field)
  const unclear = r.unclear.find((u) => u.column === c.name)
  const was = r.mapping.find((m) => m.from === c.name)
  const isProposed = rule && was?.field === rule.field && (was.unit ?? '') === (rule.unit ?? '')
  // A field is read from one column: who takes it frees it there.
  const taken = new Map(Object.entries(p.columns).filter(([n]) => n !== c.name).map(([n, x]) => [x.field, n]))
  const set = (next: Plan['columns'][string] | null) => {
    const rest = Object.entries(p.columns).filter(([n, x]) => n !== c.name && x.field !== next?.field)
    change({ columns: Object.fromEntries(next ? [...rest, [c.name, next]] : rest) })
  }
  const bad = f ? c.values.map((v) => [v, rule!.values?.some((w) => w.from === v) ? '' : fault(f, v)] as const).filter(([, why]) => why) : []
  const choices: Choice[] = [['', 'not read'], ...r.fields.map((x) => [x.name, fieldWord(x.name) + (taken.has(x.name) ? ` (taken from ${taken.get(x.name)})` : '')] as const)]
  return (
    <tr class={f || place ? '' : 'unread'} data-column={c.name}>
      <th scope="row">{c.name}</th>
      <td>{c.values.length ? c.values.map((v) => <q key={v}>{v}</q>) : <span class="soft">empty</span>}{c.filled < of.sampled && c.filled > 0 && <span class="soft"> in {count(c.filled)} of {count(of.sampled)}</span>}</td>
      {place ? <td colSpan={2}>the position</td> : (
        <>
          <td>
            <select aria-label={`${c.name} is read as`} value={rule?.field ?? ''} onChange={(e) => set(e.currentTarget.value ? { field: e.currentTarget.value } : null)}>
              {choices.map(([v, w]) => <option key={v} value={v}>{w}</option>)}
            </select>
            {isProposed && <span class="proposed"> proposed</span>}
            {!rule && unclear && <p class="hint">It looks like {fieldWord(unclear.field)}, but its name does not tell the unit. <Button look="plain" class="link" onClick={() => set({ field: unclear.field })}>Read it so</Button></p>}
            {bad.map(([v, why]) => f!.choices.length ? (
              <label key={v} class="word"><span>“{v}” means</span> <select value="" onChange={(e) => set({ ...rule!, values: [...rule!.values ?? [], { from: v, to: e.currentTarget.value }] })}><option value="">what it says</option>{f!.choices.map((w) => <option key={w} value={w}>{word(w)}</option>)}</select></label>
            ) : <p key={v} class="error">{why}: such records may be held; a try tells</p>)}
            {rule?.values?.map((w) => <p key={w.from} class="hint">“{w.from}” means {word(w.to)} <Button look="plain" aria-label={`Forget what “${w.from}” means`} onClick={() => set({ ...rule, values: rule.values!.filter((x) => x.from !== w.from) })}>×</Button></p>)}
          </td>
          <td>{f && f.units.length > 1 ? (
            <select aria-label={`Unit of ${c.name}`} aria-invalid={f.needs_unit && !rule!.unit} value={rule!.unit ?? ''} onChange={(e) => { const { unit: _, ...rest } = rule!; set(e.currentTarget.value ? { ...rest, unit: e.currentTarget.value } : rest) }}>
              <option value="">which unit?</option>
              {f.units.map((u) => <option key={u} value={u}>{unitWord(u)}</option>)}
            </select>
          ) : f?.units.length === 1 ? f.needs_unit && !rule!.unit ? <Button onClick={() => set({ ...rule!, unit: f.units[0]! })}>in {unitWord(f.units[0]!)}</Button> : unitWord(f.units[0]!) : ''}</td>
        </>
      )}
    </tr>
  )
}

// ForAll is what holds for all records: one value of a field, and which are taken.
function ForAll({ of, plan: p, change }: Parts) {
  const r = roleOf(of, p)
  const free: Choice[] = [['', 'add a field …'], ...r.fields.filter((f) => !p.values.some((v) => v.field === f.name) && f.quantity !== 'outline').map((f) => [f.name, fieldWord(f.name)] as const)]
  const set = (i: number, value: string) => change({ values: p.values.map((v, k) => k === i ? { ...v, value } : v) })
  return (
    <details open={p.values.length > 0 || p.where.length > 0}>
      <summary>One value for all records; only some records</summary>
      <div class="for-all">
        {p.values.map((v, i) => {
          const f = fieldOf(r, v.field)!
          const why = v.value ? fault(f, v.value) : ''
          return (
            <div class="row" key={v.field}>
              {f.choices.length ? <Select label={fieldWord(v.field)} value={v.value} choices={[['', 'choose'], ...f.choices.map((c) => [c, word(c)] as const)]} onChange={(x) => set(i, x)} />
                : <Field label={fieldWord(v.field)} hint={f.needs_unit ? `with its unit: ${f.units.join(', ')}` : f.quantity} {...(why ? { error: why } : {})}>{(a) => <input {...a} value={v.value} onInput={(e) => set(i, e.currentTarget.value)} />}</Field>}
              <Button look="plain" aria-label={`No value of ${fieldWord(v.field)} for all`} onClick={() => change({ values: p.values.filter((_, k) => k !== i) })}>×</Button>
            </div>
          )
        })}
        <Select label="The same for all records" value="" choices={free} onChange={(field) => { if (field) change({ values: [...p.values, { field, value: '' }] }) }} />
        {p.where.map((w, i) => (
          <div class="row" key={i}>
            <Field label={`Only records whose ${w.column} is`}>{(a) => <><input {...a} list={`of-${i}`} value={w.value} onInput={(e) => change({ where: p.where.map((x, k) => k === i ? { ...x, value: e.currentTarget.value } : x) })} /><datalist id={`of-${i}`}>{of.columns.find((c) => c.name === w.column)?.values.map((v) => <option key={v} value={v} />)}</datalist></>}</Field>
            <Button look="plain" aria-label={`No condition on ${w.column}`} onClick={() => change({ where: p.where.filter((_, k) => k !== i) })}>×</Button>
          </div>
        ))}
        <Select label="Only records with a value of" hint="the same column again: either value" value="" choices={[['', 'add a column …'], ...of.columns.filter((c) => !placesOf(p).includes(c.name)).map((c) => [c.name, c.name] as const)]} onChange={(column) => { if (column) change({ where: [...p.where, { column, value: '' }] }) }} />
      </div>
    </details>
  )
}
