import { useEffect, useRef } from 'preact/hooks'
import { Strip } from '../answer/strip'
import { place as askPlace, type OpenedPlace, type PlaceTree } from '../service'
import { useAnswer } from '../service/use'
import { asOf, tree } from '../state/store'
import { Inferred, Trouble } from '../ui/parts'
import { count, figure, word } from '../ui/words'
import { pick, showTrees } from './picked'
import { Sources, type PlaceRow } from './view'

// Place opens one place: what is on it, when, and all trees that reach it. row is
// its line in the list, where that has it.
export function Place({ id, row, total, narrowed }: { id: number; row: PlaceRow | undefined; total: number; narrowed: boolean }) {
  const at = asOf.value
  const asked = useAnswer((signal) => askPlace(id, at, signal), [id, at])
  const p = asked.value
  const back = useRef<HTMLButtonElement>(null)
  useEffect(() => back.current?.focus({ preventScroll: true }), [])
  useEffect(() => showTrees(p?.trees.map((t) => [t.longitude, t.latitude, t.over] as const) ?? []), [p])
  const close = () => {
    pick(null)
    setTimeout(() => document.querySelector<HTMLElement>('#place-list [data-active="true"] button')?.focus({ preventScroll: true }), 50)
  }
  return (
    <article id="place" aria-label="Place" data-place={id} onKeyDown={(e) => { if (e.key === 'Escape') close() }}>
      <div class="row"><button ref={back} type="button" class="usual" onClick={close}>← Back to the places</button></div>
      <Trouble text={asked.error} />
      {p ? (
        <>
          <header>
            <h2>{p.name ?? `${word(p.kind)} ${p.source_id ?? id}`}</h2>
            <p>{word(p.kind)}{p.source_id ? `, ${p.source_id}` : ''}{at && `, as of ${at}`}</p>
            <dl class="sums">
              {row && <div><dt>{narrowed ? 'of those listed' : 'of all places'}</dt><dd>{count(row.place)}.</dd></div>}
              <div><dt>harm index</dt><dd>{figure(p.harm_index)}</dd></div>
              {row && <div><dt>share of {narrowed ? 'those listed' : 'all places'}</dt><dd>{total > 0 ? `${figure(100 * p.harm_index / total)} %` : '–'}</dd></div>}
              <div><dt>trees over it</dt><dd>{count(p.trees_over)}</dd></div>
              <div><dt>in reach</dt><dd>{count(p.trees_in_reach)}</dd></div>
            </dl>
          </header>
          <Who p={p} />
          <Trees key={id} p={p} />
          <Sources profile={p.profile} asOf={p.as_of} />
        </>
      ) : !asked.error && <p class="soft pad" role="status">Opening…</p>}
    </article>
  )
}

function Who({ p }: { p: OpenedPlace }) {
  const m = p.mean
  const says = p.peak.people > 0 ? `Week on the place: up to ${figure(p.peak.people)} people, ${p.peak.name}; the worst hours are ${p.worst_hours.join('; ')}.` : 'Nobody is there at any hour.'
  return (
    <section aria-labelledby="who">
      <h3 id="who">Who is there, and when</h3>
      <p id="worst-hours">{p.peak.people > 0
        ? <><b>Worst hours:</b> {p.worst_hours.join('; ')}: up to {figure(p.peak.people)} people, the most at {p.peak.name}.</>
        : 'Nobody is recorded or assumed there at any hour, but for what is under a roof.'}</p>
      <Strip open={p.people_in_the_open} driven={p.people_in_vehicles} says={says} />
      <dl class="pairs">
        <dt>in the open</dt><dd>{figure(m.people_in_the_open)} people, mean of the year</dd>
        {m.people_sheltered > 0 && <><dt>under a roof</dt><dd>{figure(m.people_sheltered)} people, mean of the year</dd></>}
        {m.vehicles > 0 && <><dt>vehicles</dt><dd>{figure(m.vehicles)}, with {figure(m.people_in_vehicles)} people in them, mean of the year</dd></>}
        <dt>somebody there</dt><dd>in {figure(100 * p.occupied_share)} % of all hours</dd>
      </dl>
      <p class="hint">{p.note}</p>
    </section>
  )
}

const size = (t: { area_m2: number; length_m: number; points: number }) => [t.area_m2 > 0 ? `${figure(t.area_m2)} m²` : '', t.length_m > 0 ? `${figure(t.length_m)} m` : '', t.points > 0 ? `${t.points}×` : ''].filter(Boolean).join(' + ')

// The part that a tree's line is about: of its crown and limbs the one over the
// most, else the whole tree.
const about = (t: PlaceTree) => [...t.parts].sort((a, b) => Number(a.part === 'whole tree') - Number(b.part === 'whole tree') || b.people - a.people || b.vehicles - a.vehicles || b.harm_index - a.harm_index)[0]!

function Trees({ p }: { p: OpenedPlace }) {
  if (!p.trees.length) return <section aria-labelledby="its-trees"><h3 id="its-trees">Its trees</h3><p class="soft">No tree of the inventory reaches this place. Whoever has none recorded here may look for them.</p></section>
  return (
    <section aria-labelledby="its-trees">
      <h3 id="its-trees">Its trees: all {count(p.trees.length)}</h3>
      <div class="wide-table" tabIndex={0} role="group" aria-label="Trees that reach this place">
        <table>
          <thead><tr><th scope="col">tree</th><th scope="col">harm index here</th><th scope="col">part</th><th scope="col">over</th><th scope="col">people</th></tr></thead>
          <tbody>
            {p.trees.map((t) => {
              const a = about(t)
              return (
                <tr key={t.tree_id}>
                  <th scope="row"><button type="button" class="link" data-tree={t.tree_id} onClick={() => { tree.value = t.tree_id }}>{t.tag || t.source_id || `#${t.tree_id}`}</button> <span class="soft">{t.species}{t.status === 'dead' ? ', dead' : ''}</span></th>
                  <td class="number">{figure(t.harm_index)}<br /><span class="soft">{p.harm_index > 0 ? `${figure(100 * t.harm_index / p.harm_index)} %` : ''}</span></td>
                  <td>{t.over ? a.part : 'in reach, were it to fall whole'}<br /><span class="soft">{a.likelihood} {a.inferred && <Inferred />}</span></td>
                  <td class="number">{size(a)}</td>
                  <td class="number">{figure(a.people)}</td>
                </tr>
              )
            })}
          </tbody>
        </table>
      </div>
      <p class="hint">Metres and people are those beneath the part that is named, of this place alone, in the mean of the year; the harm index is of all parts. On the map wide rings are round trees over the place, thin ones round those that only reach it.</p>
    </section>
  )
}
