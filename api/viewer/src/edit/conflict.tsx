import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { Button, Dialog } from '../ui/parts'
import { changes, close, draft, nameOfDraft, ownShape, type Draft } from './draft'
import { busy, conflict, revive, settle } from './send'
import { saysShape } from './shape'

// Conflict shows what somebody else made of the feature meanwhile, field by field
// beside one's own, and goes on with what is chosen of each.
export function Conflict() {
  const c = conflict.value, d = draft.value
  return (
    <Dialog title="Changed by somebody else meanwhile" open={!!c && !!d} onClose={() => { conflict.value = null }}>
      {c && d && (c.theirs ? <Choose theirs={c.theirs} d={d} /> : (
        <>
          <p>The {nameOfDraft(d)} was deleted. What you typed is still here.</p>
          <div class="row">
            <Button look="main" disabled={busy.value} onClick={() => void revive()}>Bring it back and go on</Button>
            <Button onClick={() => { conflict.value = null; close() }}>Let it go</Button>
          </div>
        </>
      ))}
    </Dialog>
  )
}

function Choose({ theirs, d }: { theirs: Draft; d: Draft }) {
  const { values, shape } = changes.value
  const rows = [
    ...d.specs.map((s) => ({ name: s.name, title: s.title, was: d.was[s.name] ?? '', mine: (d.now[s.name] ?? '').trim(), theirs: theirs.was[s.name] ?? '', own: s.name in values })),
    ...(ownShape(d.c) ? [{ name: 'geometry', title: 'Geometry', was: saysShape(d.wasShape), mine: saysShape(d.shape), theirs: saysShape(theirs.wasShape), own: shape }] : []),
  ].filter((r) => r.mine !== r.theirs || r.own)
  const mine = useSignal<ReadonlySet<string>>(new Set())
  useEffect(() => { mine.value = new Set(rows.filter((r) => r.own).map((r) => r.name)) }, [theirs])
  const pick = (name: string, own: boolean) => { const next = new Set(mine.value); if (own) next.add(name); else next.delete(name); mine.value = next }
  return (
    <>
      <p>Version {theirs.version} is in force, and you began from version {d.version}. Choose for each field.</p>
      <div class="wide-table" tabIndex={0} role="group" aria-label="Both versions">
        <table class="both">
          <thead><tr><th scope="col">field</th><th scope="col">before</th><th scope="col">yours</th><th scope="col">theirs</th></tr></thead>
          <tbody>
            {rows.map((r) => (
              <tr key={r.name} data-field={r.name}>
                <th scope="row">{r.title}</th><td>{r.was || '–'}</td>
                {([true, false] as const).map((own) => (
                  <td key={String(own)}><label><input type="radio" name={`choose-${r.name}`} checked={mine.value.has(r.name) === own} onChange={() => pick(r.name, own)} /> <span class="hidden">{own ? 'yours' : 'theirs'}: </span>{(own ? r.mine : r.theirs) || '–'}</label></td>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <div class="row">
        <Button look="main" onClick={() => settle(theirs, mine.value)}>Go on with these</Button>
        <Button onClick={() => { conflict.value = null }}>Back to the form</Button>
      </div>
      <p class="hint">Nothing is saved yet: look at the form and save.</p>
    </>
  )
}
