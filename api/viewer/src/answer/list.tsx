import { lookOf, shadeOf } from '../map/look'
import { address } from '../service'
import { asOf, hovered, question, site, tree } from '../state/store'
import { theme } from '../state/theme'
import { Inferred, Trouble } from '../ui/parts'
import { Virtual } from '../ui/virtual'
import { count, figure, nameOf, plural, word } from '../ui/words'
import { inWords } from '../ask/builder'
import { cqlOf } from '../ask/cql'
import { lastOpened } from './opened'
import { answered, busy, matched, mostRows, rowOf, rows, totals, trouble, whole, type Row } from './answer'

// AnswerList is the answer in order, with what it comes to.
export function AnswerList() {
  return (
    <section id="answer" aria-label="Answer" data-answered={answered.value}>
      <Trouble text={trouble.value} />
      <Sums />
      <Virtual id="list" label="Ranked trees" items={rows.value} height={80} current={(rowOf(lastOpened())?.place ?? 0) - 1} keyOf={(r) => r.id} row={(r, tab) => <Entry r={r} tab={tab} />} />
      {!busy.value && whole.value && rows.value.length === 0 && <p class="soft pad">{inWords(question.value).startsWith('All trees') ? 'No tree was recorded' : 'No tree answers this question'}{asOf.value && ` as of ${asOf.value}`}.</p>}
      <Sources />
    </section>
  )
}

function Sums() {
  const t = totals.value
  const of = matched.value
  if (!t.trees) return <p id="status" role="status">{busy.value ? 'Asking…' : ''}</p>
  const listed = whole.value ? '' : of === null || of > mostRows ? `, of which the first ${count(t.trees)} are listed${busy.value ? ' so far' : ''}` : t.trees < of ? `, ${count(t.trees)} listed so far` : ''
  return (
    <div id="status" role="status">
      <p><b>{of === null ? `More than ${count(Math.max(t.trees, 10_000))} trees` : plural(of, 'tree', 'trees')}</b>{listed}</p>
      <dl class="sums" title="sums of all that is listed">
        <div><dt>person-hours a year</dt><dd>{figure(t.hours)}</dd></div>
        <div><dt>harm index</dt><dd>{figure(t.harm)}</dd></div>
        <div><dt>likelihood inferred</dt><dd>{count(t.inferred)}</dd></div>
      </dl>
    </div>
  )
}

function Entry({ r, tab }: { r: Row; tab: 0 | -1 }) {
  const p = r.p
  const shade = lookOf(theme.value).rank[shadeOf(r.place)]!
  return (
    <button type="button" class={'entry' + (hovered.value === r.id ? ' hovered' : '')} tabIndex={tab} aria-pressed={tree.value === r.id}
      onClick={() => { tree.value = r.id }} onMouseEnter={() => { hovered.value = r.id }} onMouseLeave={() => { hovered.value = null }} onFocus={() => { hovered.value = r.id }} onBlur={() => { hovered.value = null }}>
      <span class="rank" style={{ borderColor: shade }}>{count(r.place)}</span>
      <span class="name">{nameOf(p, r.id)} <i class="species">{p.species || p.common_name || 'species not recorded'}</i></span>
      <span class="over">{p.over?.length ? 'over ' + p.over.map(word).join(', ') : `over nothing recorded${p.harm_index ? '; harm if it fell whole' : ''}`}{p.cut_kinds.length ? `; ${p.cut_kinds.join(', ')}${p.last_topped ? `, topped ${p.last_topped}` : ''}` : ''}</span>
      <span class="people">{p.likelihood ?? 'not judged'} {p.inferred && <Inferred />} · {figure(p.person_hours_year)} person-hours a year</span>
      <span class="harm" title="harm index: orders trees and predicts nothing">{figure(p.harm_index)}</span>
    </button>
  )
}

// Sources says where the figures come from, and how to take them along.
function Sources() {
  const filter = cqlOf(question.value, site.value)
  return (
    <footer class="sources">
      <p>The order comes from records and assumptions, not from looking at trees. Hours and people are means of the week by the site's profile. An <Inferred /> likelihood is a rule's word, not a person's.</p>
      <p>Take along: <a href={address('/collections/trees/export', { f: 'csv', filter, as_of: asOf.value })} download>table (CSV)</a>, <a href={address('/collections/trees/export', { filter, as_of: asOf.value })} download>GeoJSON</a>. <a href={address('/map/licences.txt')}>Libraries of this page</a></p>
    </footer>
  )
}
