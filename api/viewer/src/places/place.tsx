import type { Point } from 'geojson'
import { useEffect, useRef } from 'preact/hooks'
import { items, type TreeProps } from '../service'
import { useAnswer } from '../service/use'
import { asOf, site, tree } from '../state/store'
import { Inferred } from '../ui/parts'
import { count, figure, hourName, word } from '../ui/words'
import { pick } from './picked'
import { Sources, type PlaceRow, type PlacesPage } from './view'

type Known = Pick<TreeProps, 'tag' | 'busiest_hour' | 'busiest_people' | 'likelihood' | 'inferred'>

// Place opens one place: what is on it, when, and the trees that weigh most.
export function Place({ row, total, page, narrowed }: { row: PlaceRow; total: number; page: PlacesPage; narrowed: boolean }) {
  const p = row.properties
  const back = useRef<HTMLButtonElement>(null)
  useEffect(() => back.current?.focus({ preventScroll: true }), [])
  const close = () => {
    pick(null)
    setTimeout(() => document.querySelector<HTMLElement>('#place-list [data-active="true"] button')?.focus({ preventScroll: true }), 50)
  }
  const name = p.name ?? `${word(p.kind)} ${p.source_id ?? row.id}`
  return (
    <article id="place" aria-label="Place" data-place={row.id} onKeyDown={(e) => { if (e.key === 'Escape') close() }}>
      <div class="row"><button ref={back} type="button" class="usual" onClick={close}>← Back to the places</button></div>
      <header>
        <h2>{name}</h2>
        <p>{word(p.kind)}{p.source_id ? `, ${p.source_id}` : ''}</p>
        <dl class="sums">
          <div><dt>{narrowed ? 'of those listed' : 'of all places'}</dt><dd>{count(row.place)}.</dd></div>
          <div><dt>harm index</dt><dd>{figure(p.harm_index)}</dd></div>
          <div><dt>share of {narrowed ? 'those listed' : 'all places'}</dt><dd>{total > 0 ? `${figure(100 * p.harm_index / total)} %` : '–'}</dd></div>
          <div><dt>trees over it</dt><dd>{count(p.trees_over)}</dd></div>
          <div><dt>in reach</dt><dd>{count(p.trees_in_reach)}</dd></div>
        </dl>
      </header>
      <section aria-labelledby="who">
        <h3 id="who">Who is there</h3>
        <dl class="pairs">
          <dt>in the open</dt><dd>{figure(p.people)} people, mean of the week</dd>
          {p.people_sheltered > 0 && <><dt>under a roof</dt><dd>{figure(p.people_sheltered)}</dd></>}
          {p.vehicles > 0 && <><dt>vehicles</dt><dd>{figure(p.vehicles)}, with {figure(p.people_in_vehicles)} people in them</dd></>}
          <dt>worst hour</dt><dd>{figure(p.busiest_people)} people, {hourName(p.busiest_hour)}</dd>
        </dl>
        <p class="hint">The service tells a place’s busiest hour, not its week; the week under a tree is in the tree’s own panel.</p>
      </section>
      <Trees row={row} />
      <Sources page={page} />
    </article>
  )
}

function Trees({ row }: { row: PlaceRow }) {
  const p = row.properties
  const of = site.value, at = asOf.value
  const tags = p.tree_tags.filter(Boolean)
  const known = useAnswer(tags.length ? (signal) => items<Known, Point>('trees', { site: of, as_of: at, filter: `tag IN (${tags.map((t) => `'${t.replaceAll("'", "''")}'`).join(', ')})`, properties: ['tag', 'busiest_hour', 'busiest_people', 'likelihood', 'inferred'], limit: 100 }, signal) : null, [row.id, at])
  if (!p.tree_ids.length) return <section aria-labelledby="its-trees"><h3 id="its-trees">Its trees</h3><p class="soft">No tree of the inventory reaches this place. Whoever has none recorded here may look for them.</p></section>
  return (
    <section aria-labelledby="its-trees">
      <h3 id="its-trees">Its trees, those that weigh most</h3>
      <div class="wide-table" tabIndex={0} role="group" aria-label="Trees that weigh most on this place">
        <table>
          <thead><tr><th scope="col">tree</th><th scope="col">harm index here</th><th scope="col">share</th><th scope="col">most people beneath</th></tr></thead>
          <tbody>
            {p.tree_ids.map((id, i) => {
              const t = known.value?.features.find((f) => f.id === id)?.properties
              return (
                <tr key={id}>
                  <th scope="row"><button type="button" class="link" data-tree={id} onClick={() => { tree.value = id }}>{p.tree_tags[i] || `#${id}`}</button> {t && <span class="soft">{t.likelihood} {t.inferred && <Inferred />}</span>}</th>
                  <td class="number">{figure(p.tree_harm_index[i])}</td>
                  <td class="number">{p.harm_index > 0 ? `${figure(100 * p.tree_harm_index[i]! / p.harm_index)} %` : '–'}</td>
                  <td class="number">{t ? `${figure(t.busiest_people)}${t.busiest_hour === null ? '' : `, ${hourName(t.busiest_hour, true)}`}` : '–'}</td>
                </tr>
              )
            })}
          </tbody>
        </table>
      </div>
      {p.trees_in_reach > p.tree_ids.length && <p class="hint">The service lists up to five; {count(p.trees_in_reach - p.tree_ids.length)} more reach this place.</p>}
    </section>
  )
}
