import { useEffect } from 'preact/hooks'
import { TreePanel } from '../answer/tree'
import { places, type Feature, type Page, type PlaceProps } from '../service'
import { useAnswer } from '../service/use'
import { asOf, camera, param, ready, site, tree } from '../state/store'
import { Inferred, Select, Trouble } from '../ui/parts'
import { Virtual } from '../ui/virtual'
import { count, figure, hourName, kinds, plural, word } from '../ui/words'
import { Place } from './place'
import { pick, picked, pickPlaces, showNumbers } from './picked'

export const most = 10_000
export type PlacesPage = Page<PlaceProps> & { as_of: string; profile: string; note?: string }
export type PlaceRow = Feature<PlaceProps> & { place: number }

const kind = param('places.kind')
const reach = param('places.reach')

const reaches = [['', 'all places'], ['false', 'in reach of a tree'], ['true', 'that no tree reaches']] as const

// PlacesView looks at a site from its targets' side: the worst places, and the
// trees over one of them.
export function PlacesView() {
  const of = site.value, at = asOf.value, k = kind.value, r = reach.value
  const answer = useAnswer(ready.value && of ? (signal) => places({ site: of, as_of: at, kind: k, uncovered: r, limit: most }, signal) as Promise<PlacesPage> : null, [ready.value, of, at, k, r])
  useEffect(pickPlaces, [])
  const page = answer.value
  useEffect(() => showNumbers(page?.features ?? []), [page])
  if (tree.value !== null) return <TreePanel key={tree.value} id={tree.value} />
  const rows = (page?.features ?? []).map((f, i) => ({ ...f, place: i + 1 }))
  const total = rows.reduce((n, f) => n + f.properties.harm_index, 0)
  const chosen = rows.find((f) => f.id === picked.value)
  if (picked.value !== null) return <Place key={picked.value} id={picked.value} row={chosen} total={total} narrowed={!!(k || r)} />
  const matched = page?.numberMatched ?? rows.length
  return (
    <div id="places">
      <section aria-label="Which places">
        <h2>Places, the worst first</h2>
        <div class="fields">
          <Select label="Kind" value={k} choices={[['', 'any kind'], ...kinds.map((w) => [w, word(w)] as const)]} onChange={(v) => { kind.value = v }} />
          <Select label="Trees" value={r} choices={reaches} onChange={(v) => { reach.value = v }} />
        </div>
        <p role="status">{page ? <><b>{plural(matched, 'place', 'places')}</b>{rows.length < matched ? `, the first ${count(rows.length)} listed` : ''}; harm index {figure(total)} on them</> : answer.error ? '' : 'Going through the places…'}</p>
        {r === 'true' && <p class="hint">The busiest first: places where people are and no tree of the inventory could fall. Trees that nobody recorded may stand there.</p>}
        <p class="hint">{(camera.value?.zoom ?? 0) < 14 ? 'Go closer on the map to see all places and click them; the numbers can be clicked from afar.' : 'Or click a place on the map.'}</p>
      </section>
      <Trouble text={answer.error} />
      <Virtual id="place-list" label="Places" items={rows} height={80} current={-1} keyOf={(f) => f.id} row={(f, tab) => <Entry f={f} total={total} tab={tab} />} />
      {page && rows.length === 0 && <p class="soft pad">No place is so.</p>}
      {page && <Sources profile={page.profile} asOf={page.as_of} />}
    </div>
  )
}

function Entry({ f, total, tab }: { f: PlaceRow; total: number; tab: 0 | -1 }) {
  const p = f.properties
  return (
    <button type="button" class="entry" tabIndex={tab} onClick={() => pick(f.id)} data-place={f.id}>
      <span class="rank" style={{ borderColor: 'var(--rule)' }}>{count(f.place)}</span>
      <span class="name">{p.name ?? `${word(p.kind)} ${p.source_id ?? f.id}`} <i class="species">{word(p.kind)}</i></span>
      <span class="over">mean {figure(p.people)} people{p.people_sheltered > 0 && `, ${figure(p.people_sheltered)} under roofs`}{p.busiest_people > 0 && `, most ${hourName(p.busiest_hour, true)}`}</span>
      <span class="people">{p.covered ? `${plural(p.trees_over, 'tree', 'trees')} over it, ${count(p.trees_in_reach)} in reach` : 'no tree reaches it'}</span>
      <span class="harm" title="harm index, and its share of all places listed">harm {figure(p.harm_index)}<br />{total > 0 && `${figure(100 * p.harm_index / total)} % of these`}</span>
    </button>
  )
}

export function Sources({ profile, asOf }: { profile: string; asOf: string }) {
  return (
    <footer class="sources">
      <p>People are means by the records of each place and the profile “{profile}”, as of {asOf}; chances and weights are the profile’s assumptions. An <Inferred /> likelihood is a rule’s word, not a person’s. A harm index orders places and predicts nothing.</p>
    </footer>
  )
}
