import './edit.css'
import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { goTo } from '../map/camera'
import { map } from '../map/instance'
import { editKey, isAbort, items, ofTree, Problem, takes, type CutProps, type VisitProps } from '../service'
import { useAnswer } from '../service/use'
import { asOf, edited, site } from '../state/store'
import { Button, Dialog, Field, Trouble } from '../ui/parts'
import { begin, changes, close, draft, nameOfDraft, open, opening, picked, pickedAt } from './draft'
import { aim, editOnMap, pickAt, startDrawing, stopDrawing } from './drawing'
import { Conflict } from './conflict'
import { DeletedLately } from './deleted'
import { Form } from './form'
import { ChangeLog } from './log'
import { oneOf, type Collection } from './schema'
import { busy, keyFor, save, steps, trouble, undo } from './send'
import { cornersOf } from './shape'

// EditView adds, corrects, moves and deletes trees, places, cuts and visits.
export function EditView() {
  const tries = useSignal(0)
  const may = useAnswer((signal) => takes('/collections/trees/items', signal), [tries.value])
  const gone = useSignal(false)
  // What is wanted while something unsaved is in hand.
  const next = useSignal<(() => void) | null>(null)
  const guard = (go: () => void) => { if (changes.value.any) next.value = go; else go() }
  const show = (c: Collection, id: number) => {
    gone.value = false
    trouble.value = ''
    open(c, id).then((d) => {
      const at = d.shape ? cornersOf(d.shape).map((k) => k.at) : d.at ? [d.at] : []
      // What is seen from near enough to be moved by decimetres stays where it is.
      const m = map.value, b = m?.getBounds()
      if (m && b && at.length && !(m.getZoom() >= 18.5 && at.some((p) => b.contains(p)))) goTo(at, 19)
    }, (err: Error) => {
      if (isAbort(err)) return
      if (err instanceof Problem && err.status === 404) gone.value = true
      else { trouble.value = err.message; close() }
    })
  }
  const ready = may.value === true && !asOf.value
  useEffect(() => ready ? editOnMap((c, id) => guard(() => show(c, id))) : undefined, [ready])
  // What the address names, and what a step back names again.
  useEffect(() => {
    const p = picked(), d = draft.value
    if (ready && p && !opening.value && !(d && d.c === p.c && d.id === p.id)) guard(() => show(p.c, p.id))
  }, [ready, pickedAt.value])
  useEffect(() => {
    const keys = (e: KeyboardEvent) => {
      if (e.key.toLowerCase() !== 'z' || !(e.ctrlKey || e.metaKey) || e.shiftKey || (e.target as Element).closest('input, textarea, select')) return
      e.preventDefault()
      guard(() => void undo())
    }
    addEventListener('keydown', keys)
    return () => removeEventListener('keydown', keys)
  }, [])
  const add = (c: Collection, tree?: { id: number; at: [number, number] | null }) => guard(() => {
    gone.value = false
    trouble.value = ''
    begin(c, tree).then(() => { if (c === 'trees') startDrawing('Point') }, (err: Error) => { trouble.value = err.message })
  })
  const stay = () => {
    const d = draft.value
    next.value = null
    pickedAt.value = d && d.id !== null ? `${d.c}/${d.id}` : ''
  }
  const leave = () => {
    const d = draft.value
    stopDrawing()
    if (d && d.id !== null && changes.value.any) show(d.c, d.id)
    else if (d && (d.c === 'cuts' || d.c === 'visits') && d.now.tree_id) show('trees', Number(d.now.tree_id))
    else close()
  }
  if (may.error) return <div class="pad"><Trouble text={may.error} /><Button disabled={may.busy} onClick={() => { tries.value++ }}>Try again</Button></div>
  if (may.value === false) return <p class="pad">This service is for reading only: nothing can be edited here. Whoever runs it can turn editing on.</p>
  if (asOf.value) return <div class="pad"><p>What was as of {asOf.value} is past, and the past is not edited.</p><Button onClick={() => { asOf.value = '' }}>Go to now</Button></div>
  if (!ready) return <p class="soft pad" role="status">…</p>
  const d = draft.value, p = picked(), last = steps.value.at(-1)
  return (
    <div id="edit" aria-busy={busy.value || opening.value} data-version={d?.version ?? ''}>
      <div class="row head">
        <Button id="undo" disabled={!last || busy.value} title={last ? `Undo ${last.says} (Ctrl+Z)` : 'Nothing to undo'} onClick={() => guard(() => void undo())}>Undo{last ? ` ${last.says}` : ''}</Button>
      </div>
      {!d && <Trouble text={trouble.value} />}
      {d ? (
        <>
          <h2>{d.id === null ? `A new ${oneOf[d.c]}` : `${nameOfDraft(d)[0]!.toUpperCase()}${nameOfDraft(d).slice(1)}`}</h2>
          {(d.c === 'cuts' || d.c === 'visits') && d.now.tree_id && <p><button type="button" class="link" onClick={() => guard(() => show('trees', Number(d.now.tree_id)))}>← the tree that it is of</button></p>}
          <Form key={`${d.c}/${d.id}`} onLeave={leave} />
          {d.c === 'trees' && d.id !== null && <Records id={d.id} at={d.wasShape?.type === 'Point' ? d.wasShape.coordinates as [number, number] : null} onOpen={(c, id) => guard(() => show(c, id))} onAdd={add} />}
          {d.id !== null && <ChangeLog c={d.c} id={d.id} now={{ version: d.version!, etag: d.etag }} />}
        </>
      ) : gone.value && p ? (
        <>
          <h2>{oneOf[p.c]} {p.id}</h2>
          <p>It is not there any more. Its change log says who deleted it, and brings it back.</p>
          <Button onClick={() => { gone.value = false; close() }}>Close</Button>
          <ChangeLog c={p.c} id={p.id} now={null} />
        </>
      ) : <Start onAdd={add} onPick={show} />}
      <Conflict />
      <Key />
      <Dialog title="Not saved yet" open={!!next.value} onClose={() => { if (next.value) stay() }}>
        <p>{d ? `What you changed of the ${nameOfDraft(d)} is not saved.` : ''}</p>
        <div class="row">
          <Button look="main" onClick={() => { const go = next.value!; next.value = null; void save().then((ok) => ok ? go() : stay()) }}>Save it first</Button>
          <Button onClick={() => { const go = next.value!; next.value = null; close(); go() }}>Drop it</Button>
          <Button onClick={stay}>Stay here</Button>
        </div>
      </Dialog>
    </div>
  )
}

// Start offers what can be added, and finds what is to be corrected.
function Start({ onAdd, onPick }: { onAdd: (c: Collection) => void; onPick: (c: Collection, id: number) => void }) {
  const none = useSignal('')
  const find = (e: SubmitEvent) => {
    e.preventDefault()
    const name = String(new FormData(e.currentTarget as HTMLFormElement).get('name')).trim().replaceAll("'", "''")
    if (!name) return
    const ask = (c: 'trees' | 'targets', fields: string[]) => items(c, { filter: `site = '${site.value.replaceAll("'", "''")}' AND (${fields.map((f) => `CASEI(${f}) = CASEI('${name}')`).join(' OR ')})`, limit: 1, properties: ['site'] })
    none.value = ''
    ask('trees', ['tag', 'source_id']).then(async (t) => {
      if (t.features[0]) return onPick('trees', t.features[0].id)
      const g = (await ask('targets', ['name', 'source_id'])).features[0]
      if (g) onPick('targets', g.id)
      else none.value = `Nothing is called ${name} in ${site.value}.`
    }).catch((err: Error) => { none.value = err.message })
  }
  const here = () => {
    none.value = pickAt(aim(), onPick) ? '' : 'There is nothing at the middle of the map.'
  }
  return (
    <>
      <h2>Edit</h2>
      <p>Click a tree or a place on the map to correct it, move it, or record a cut or a visit of a tree.</p>
      <div class="row">
        <Button look="main" onClick={() => onAdd('trees')}>Add a tree</Button>
        <Button look="main" onClick={() => onAdd('targets')}>Add a place</Button>
        <Button onClick={here}>Pick what is at the map's middle</Button>
      </div>
      <form class="row find" onSubmit={find}>
        <Field label="Tag of a tree, or name of a place" {...(none.value ? { error: none.value } : {})}>{(p) => <input {...p} name="name" autocomplete="off" />}</Field>
        <Button type="submit">Open</Button>
      </form>
      <DeletedLately />
    </>
  )
}

// Records are the cuts and visits of a tree.
function Records({ id, at, onOpen, onAdd }: { id: number; at: [number, number] | null; onOpen: (c: Collection, id: number) => void; onAdd: (c: Collection, tree: { id: number; at: [number, number] | null }) => void }) {
  const of = useAnswer(async (signal) => {
    const [cuts, visits] = await Promise.all([ofTree<CutProps>('cuts', id, '', signal), ofTree<VisitProps>('visits', id, '', signal)])
    return [...cuts.features.map((f) => ({ c: 'cuts' as const, id: f.id, says: `${f.properties.kind}, ${f.properties.made_on ?? f.properties.made_year ?? 'no date'}` })),
      ...visits.features.map((f) => ({ c: 'visits' as const, id: f.id, says: `visit of ${f.properties.visited_on}` }))]
  }, [id, edited.value])
  return (
    <section aria-labelledby="records">
      <h3 id="records">Cuts and visits</h3>
      <Trouble text={of.error} />
      <ul class="records">{of.value?.map((r) => <li key={r.c + r.id}><button type="button" class="link" onClick={() => onOpen(r.c, r.id)}>{r.says}</button></li>)}</ul>
      <div class="row">
        <Button onClick={() => onAdd('cuts', { id, at })}>Add a cut</Button>
        <Button onClick={() => onAdd('visits', { id, at })}>Add a visit</Button>
      </div>
    </section>
  )
}

// Key asks for the key of those who may edit, and goes on with what was wanted.
function Key() {
  return (
    <Dialog title="Who may edit here" open={!!keyFor.value} onClose={() => { keyFor.value = null }}>
      <form onSubmit={(e) => {
        e.preventDefault()
        editKey.set(String(new FormData(e.currentTarget).get('key')).trim())
        const again = keyFor.value
        keyFor.value = null
        again?.()
      }}>
        <Trouble text={trouble.value} />
        <Field label="Key" hint="Whoever runs the service gives it to you. It is kept until this tab is closed; the change log bears the name that it is of.">{(p) => <input {...p} name="key" type="password" autocomplete="off" required />}</Field>
        <Button type="submit" look="main">Use it</Button>
      </form>
    </Dialog>
  )
}
