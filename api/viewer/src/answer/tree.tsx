import { useEffect, useRef } from 'preact/hooks'
import { address, explain, get, hours, type Explanation } from '../service'
import { useAnswer } from '../service/use'
import { asOf, param, tree, view } from '../state/store'
import { Button, Estimated, Inferred, Trouble } from '../ui/parts'
import { exact, figure, hourName, nameOf } from '../ui/words'
import { rowOf } from './answer'
import { missing, opened, type Opened } from './opened'
import { Part } from './part'
import { Specification } from './specification'
import { TreeStrip } from './strip'
import { HowSure } from './sure'
import { Timeline } from './timeline'
import { Missing, Worked } from './worked'

// TreePanel opens the sum of one tree: its parts, what each would land on, its
// week, and what was done to it and seen.
export function TreePanel({ id }: { id: number }) {
  const o = opened.value?.id === id ? opened.value : null
  const correct = () => { param('edit.at').value = `trees/${id}`; view.value = 'edit' }
  const back = useRef<HTMLButtonElement>(null)
  useEffect(() => back.current?.focus({ preventScroll: true }), [])
  const close = () => {
    tree.value = null
    // To where one was in the list.
    setTimeout(() => document.querySelector<HTMLElement>('#list [data-active="true"] button')?.focus({ preventScroll: true }), 50)
  }
  return (
    <article id="tree" aria-label="Tree" data-tree={id} onKeyDown={(e) => { if (e.key === 'Escape') close() }}>
      <div class="row"><button ref={back} type="button" class="usual" onClick={close}>← Back to the list</button>{asOf.value === '' && missing.value !== id && <Button onClick={correct}>Correct it</Button>}</div>
      {o ? <Opened o={o} /> : missing.value === id ? <Gone id={id} onCorrect={correct} /> : <p class="soft pad">Opening…</p>}
    </article>
  )
}

// Gone says what became of a tree that is not there.
function Gone({ id, onCorrect }: { id: number; onCorrect: () => void }) {
  const path = `/collections/trees/items/${id}/history`
  const log = useAnswer((signal) => get<{ deleted: boolean; entries: { at: string; by: string }[] }>(path, { limit: 1 }, signal), [id])
  const last = log.value?.entries[0]
  return (
    <div class="pad">
      <h2>Tree {id}</h2>
      <Trouble text={log.error} />
      {log.value && <p>{log.value.deleted && last ? `This tree was deleted on ${last.at.slice(0, 16).replace('T', ' ')} UTC by ${last.by}.` : `There was no such tree as of ${asOf.value}.`} <a href={address(path, { f: 'html' })}>Its change log</a></p>}
      {log.value?.deleted && <Button onClick={onCorrect}>Bring it back</Button>}
    </div>
  )
}

function Opened({ o }: { o: Opened }) {
  const tag = o.p.tag || o.p.source_id
  const at = asOf.value
  const why = useAnswer(tag ? (signal) => explain(o.p.site, tag, at, signal) : null, [o.id, o.p.version, at])
  const week = useAnswer(tag ? (signal) => hours(o.p.site, tag, at, {}, signal) : null, [o.id, o.p.version, at])
  const place = rowOf(o.id)?.place
  return (
    <>
      <header class="tree-head">
        <h2>{nameOf(o.p, o.id)}</h2>
        <p><i>{o.p.species ?? 'species not recorded'}</i>{o.p.common_name ? `, ${o.p.common_name}` : ''}{o.p.status === 'alive' ? '' : `, ${o.p.status}`}</p>
        {at && <p class="mind">As the inventory stood as of {at}, computed for that day.</p>}
        <dl class="sums">
          <div><dt>{place ? 'in this answer' : 'in its site'}</dt><dd>{place ?? o.p.rank ?? '–'}.</dd></div>
          <div><dt>harm index</dt><dd>{figure(o.p.harm_index)}</dd></div>
          <div><dt>rating</dt><dd>{o.p.rating ?? '–'}</dd></div>
          <div><dt>likelihood {o.p.inferred && <Inferred />}</dt><dd>{o.p.likelihood ?? '–'}</dd></div>
        </dl>
        {o.p.inferred && o.p.rule && <p class="hint">The likelihood is the screening rule's “{o.p.rule}”: nobody has judged it.</p>}
      </header>
      <Trouble text={why.error} />
      {!tag && <p class="hint pad">A tree without tag and source id cannot be explained: give it a tag.</p>}
      {why.value && <Sum x={why.value} />}
      {week.value && <TreeStrip week={week.value} />}
      {o.p.rank !== null && <HowSure key={o.id} id={o.id} site={o.p.site} rank={o.p.rank} />}
      {tag && (o.p.status === 'alive' || o.p.status === 'dead') && <Specification site={o.p.site} tag={tag} asOf={at} deps={[o.id, o.p.version]} />}
      {why.value && <Worked x={why.value} />}
      <Timeline id={o.id} />
      <Measures o={o} x={why.value} />
      {why.value && <footer class="sources"><p>Computed from the inventory as of {why.value.as_of} under the profile “{why.value.profile}”. {why.value.slope}.</p></footer>}
    </>
  )
}

function Sum({ x }: { x: Explanation }) {
  return (
    <section aria-labelledby="sum">
      <h3 id="sum">What is at stake, part by part</h3>
      {x.parts.map((p, i) => <Part key={i} p={p} x={x} />)}
      <p id="total">Harm index of the tree, its parts together: <b>{exact(x.harm_index)}</b>. Chances, shares and weights are the profile’s assumptions; people and vehicles in these sums are means in which windy hours weigh more, where the profile has wind.</p>
      <details class="reason"><summary>The same in a sentence</summary><p>{x.reason}</p></details>
    </section>
  )
}

function Measures({ o, x }: { o: Opened; x: Explanation | null }) {
  const p = o.p
  const guessed = (from: string | null) => from && from !== 'measured' ? <Estimated from={from} /> : null
  return (
    <section aria-labelledby="measures">
      <h3 id="measures">Measures</h3>
      <dl class="pairs">
        <dt>stem</dt><dd>{figure(p.dbh_cm)} cm{p.stems && p.stems > 1 ? `, ${p.stems} stems` : ''}</dd>
        <dt>height</dt><dd>{figure(x?.height_m ?? p.height_m)} m {x && x.height_se_m > 0 ? `± ${figure(x.height_se_m)} ` : ''}{guessed(p.height_from)}</dd>
        <dt>crown radius</dt><dd>{figure(x?.crown_radius_m ?? p.crown_radius_m)} m {x && x.crown_radius_se_m > 0 ? `± ${figure(x.crown_radius_se_m)} ` : ''}{guessed(p.crown_radius_from)}</dd>
        {p.lean_deg ? <><dt>lean</dt><dd>{figure(p.lean_deg)}° to {figure(p.lean_bearing_deg)}°</dd></> : null}
        <dt>condition</dt><dd>{p.condition ?? '–'}</dd>
        <dt>planted</dt><dd>{p.planted_year ?? '–'}</dd>
        <dt>most people beneath</dt><dd>{figure(p.busiest_people)}{p.busiest_hour === null ? '' : `, ${hourName(p.busiest_hour)}`}</dd>
        <dt>next visit</dt><dd>{p.next_visit ?? 'none asked for'}</dd>
        <Missing p={p} />
      </dl>
    </section>
  )
}

