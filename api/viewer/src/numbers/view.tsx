import { programmes } from '../service'
import { useAnswer } from '../service/use'
import { asOf, param, ready, site } from '../state/store'
import { theme } from '../state/theme'
import { lookOf } from '../map/look'
import { Select, Trouble } from '../ui/parts'
import { bars, lines, Plot, type Series } from '../ui/plot'
import { count, dayNames, figure, hourName, plural, word } from '../ui/words'
import { ageNames, byKind, cutAges, hoursAYear, once, kindWeeks, quality, week, type Counted, type KindWeeks, type Places, type Week } from './gather'

const chosen = param('numbers.programme')

// NumbersView is the figures that people show others: plots with axes, units and
// sources, each to be saved as a picture and as a table.
export function NumbersView() {
  const of = site.value, at = asOf.value
  const kinds = useAnswer(ready.value && of ? () => byKind(of, at) : null, [ready.value, of, at])
  if (kinds.error) return <Trouble text={kinds.error} />
  if (!kinds.value) return <p class="soft pad" role="status">Adding up…</p>
  return (
    <div id="numbers">
      <header class="pad">
        <h2>Numbers of {of}, as of {kinds.value.asOf}</h2>
        <p class="soft">Figures come from the inventory as recorded and from the profile “{kinds.value.profile}”, whose chances and weights are assumptions. A harm index orders trees and places and predicts nothing.</p>
      </header>
      <div class="plots">
        <Kinds p={kinds.value} />
        <Weeks site={of} at={at} />
        <Spend site={of} />
        <Counts site={of} at={at} year={Number(kinds.value.asOf.slice(0, 4))} />
      </div>
    </div>
  )
}

const about = (at: string) => at ? `, as of ${at}` : ''

function Kinds({ p }: { p: Places }) {
  const look = lookOf(theme.value)
  const part = p.of < p.matched ? `; only the ${count(p.of)} places with most harm of ${count(p.matched)} are added up` : ''
  const source = `the service’s list of places under the profile “${p.profile}”${about(p.asOf)}${part}`
  const names = p.kinds.map((k) => word(k.kind))
  const by = [...p.kinds].sort((a, b) => b.people - a.people)[0]
  const worst = [...p.kinds].sort((a, b) => b.harm - a.harm)[0]
  if (!by || !worst) return <p class="soft pad">No place is recorded on this site.</p>
  return (
    <>
      <Plot id="exposure-by-kind" title="Time that people spend on places, by kind" source={source} says={`Most on ${word(by.kind)}: ${figure(by.people)} person-hours a year.`}
        note={`On whole places, in the open and in vehicles: the mean of the week × ${count(hoursAYear)} hours. People under roofs are counted apart: ${figure(p.kinds.reduce((n, k) => n + k.sheltered, 0))} person-hours a year, by kind in the figures; harm indices hold them. In reach is a place that some tree of the inventory could reach if it fell whole.`}
        table={{ columns: ['kind of place', 'places', 'person-hours a year', 'under roofs, person-hours a year', 'of those on places in reach of a tree', 'places no tree reaches'], rows: p.kinds.map((k) => [k.kind, k.places, k.people, k.sheltered, k.beneath, k.uncovered]) }}
        draw={bars(names, [{ name: 'in reach of a tree', values: p.kinds.map((k) => k.beneath), fill: look.busy[4] }, { name: 'out of reach', values: p.kinds.map((k) => k.people - k.beneath), fill: look.busy[1] }], 'person-hours a year')} />
      <Plot id="harm-by-kind" title="Harm index, by kind of place" source={source} says={`Most on ${word(worst.kind)}: ${figure(worst.harm)}.`}
        note="What trees could do to people, those under roofs too, and to property on the places of a kind, added up over trees. The likelihoods in it are inferred by rules but for trees that somebody judged; how many of each stands below."
        table={{ columns: ['kind of place', 'harm index'], rows: p.kinds.map((k) => [k.kind, k.harm]) }}
        draw={bars(names, [{ name: 'harm index', values: p.kinds.map((k) => k.harm), fill: look.rank[3] }], 'harm index (no unit)')} />
    </>
  )
}

const hourly = (at: number[], series: Series[]) => lines(at, dayNames.map((d, i) => [i * 24, d.slice(0, 3)] as [number, string]), series, 'people present', 'hour of the week, from Monday 00:00', false)
const all168 = Array.from({ length: 168 }, (_, i) => i)
const digits = (n: number) => Number(n.toPrecision(8))

function Weeks({ site, at }: { site: string; at: string }) {
  const w = useAnswer(() => week(site, at), [site, at])
  const k = useAnswer(() => kindWeeks(site, at), [site, at])
  return (
    <>
      <Trouble text={w.error || k.error} />
      {k.value && k.value.kinds.length > 0 && <ByKindAndHour k={k.value} at={at} />}
      {w.value && w.value.trees > 0 && <UnderTrees w={w.value} at={at} />}
      {(w.busy || k.busy) && <p class="soft pad" role="status">Asking for weeks…</p>}
    </>
  )
}

function ByKindAndHour({ k, at }: { k: KindWeeks; at: string }) {
  const look = lookOf(theme.value)
  const total = (people: readonly number[]) => people.reduce((a, b) => a + b, 0)
  const sorted = [...k.kinds].sort((a, b) => total(b.people) - total(a.people))
  const drawn = sorted.slice(0, 4), rest = sorted.slice(4)
  const styles = [{ fill: look.rank[4] }, { fill: look.chosen, dash: '7 4' }, { fill: look.area, dash: '2 3' }, { fill: look.rank[2], dash: '12 3 2 3' }, { fill: look.line }]
  const series = [...drawn.map((d) => ({ name: word(d.kind), values: d.people })), ...(rest.length ? [{ name: `${plural(rest.length, 'other kind', 'other kinds')}`, values: all168.map((h) => rest.reduce((n, r) => n + r.people[h]!, 0)) }] : [])].map((s, i) => ({ ...s, ...styles[i]! }))
  const most = drawn[0]!, top = most.people.indexOf(Math.max(...most.people))
  return (
    <Plot id="exposure-by-kind-and-hour" title="People on places, by kind and hour of the week" source={`the weeks of ${count(k.places)} places, added up by kind${about(at)}`}
      says={`Most on ${word(most.kind)}: ${figure(most.people[top])} people at ${hourName(top)}.`}
      note="On whole places, in the open and in vehicles, in an ordinary week by the site’s clock; how busy most places are is the profile’s assumption for their kind. The figures hold every kind."
      table={{ columns: ['hour of the week', 'begins', ...sorted.map((d) => word(d.kind))], rows: all168.map((h) => [h, hourName(h), ...sorted.map((d) => digits(d.people[h]!))]) }}
      draw={hourly(all168, series)} />
  )
}

function UnderTrees({ w, at }: { w: Week; at: string }) {
  const look = lookOf(theme.value)
  const { people } = w
  const top = people.indexOf(Math.max(...people))
  const which = w.more ? `the first ${count(w.trees)} trees by harm index` : `all ${count(w.trees)} standing trees`
  return (
    <Plot id="exposure-by-hour" title={`People under ${which}, by hour of the week`} source={`the weeks under ${which}, added up${about(at)}`}
      says={`Most at ${hourName(top)}: ${figure(people[top])} people.`}
      note={`In the open and in vehicles, under the part of each tree that is over the most, in an ordinary week by the site’s clock. Who is under two trees counts twice.${w.more ? ' The other trees are not in it.' : ''}`}
      table={{ columns: ['hour of the week', 'begins', 'people'], rows: people.map((n, i) => [i, hourName(i), digits(n)]) }}
      draw={hourly(all168, [{ name: 'people', values: people, fill: look.rank[3] }])} />
  )
}

interface Year { year: number; budget: number; used: number; harm_index_before: number; harm_index_left: number; harm_index_left_worst_first: number; harm_index_left_flat_cycle: number }
interface Made { programme_id: number; name: string; question: { measure: string; cycle: number }; years: Year[]; currency: string; assumption: string; practice: string; as_of: string }

function Spend({ site }: { site: string }) {
  const list = useAnswer(() => once(JSON.stringify(['programmes', site]), () => programmes(site)), [site])
  const look = lookOf(theme.value)
  if (!list.value) return <Trouble text={list.error} />
  const all = list.value.programmes as unknown as Made[]
  const p = all.find((m) => String(m.programme_id) === chosen.value) ?? all[0]
  if (!p || !p.years.length) return <p class="soft pad">No programme was kept on this site: harm removed against spend needs one.</p>
  const unit = p.question.measure === 'hours' ? 'crew-hours' : p.currency || 'units of money of the practice'
  const budget: number[] = [], off = (left: (y: Year) => number) => [0, ...p.years.map((y) => y.harm_index_before - left(y))]
  p.years.reduce((n, y) => { budget.push(n + y.budget); return n + y.budget }, 0)
  const at = [0, ...budget]
  const mine = off((y) => y.harm_index_left), worst = off((y) => y.harm_index_left_worst_first), flat = off((y) => y.harm_index_left_flat_cycle)
  return (
    <div>
      {all.length > 1 && <Select label="Programme" value={String(p.programme_id)} choices={all.map((m) => [String(m.programme_id), m.name] as const)} onChange={(v) => { chosen.value = v }} />}
      <Plot id="harm-against-spend" title={`Harm taken off against spend: ${p.name}`} source={`programme ${p.programme_id} “${p.name}”, practice “${p.practice}”, as of ${p.as_of}`}
        says={`After ${plural(p.years.length, 'year', 'years')} the programme takes off ${figure(mine.at(-1))} a year, worst first ${figure(worst.at(-1))}, a flat cycle ${figure(flat.at(-1))}.`}
        note={`All three had the same budget; of it the programme used ${figure(p.years.reduce((n, y) => n + y.used, 0))}. ${p.assumption}`}
        table={{ columns: ['year', `budget so far, ${unit}`, `used by the programme in the year, ${unit}`, 'harm index taken off in the year', 'worst first', `flat cycle of ${p.question.cycle} years`], rows: p.years.map((y, i) => [y.year, budget[i]!, y.used, mine[i + 1]!, worst[i + 1]!, flat[i + 1]!]) }}
        draw={lines(at, [[0, '0'], ...p.years.map((y, i) => [budget[i]!, `${y.year}: ${Number((budget[i]! / 1000).toPrecision(3))} k`] as [number, string])], [
          { name: 'this programme', values: mine, fill: look.rank[4] }, { name: 'worst first', values: worst, fill: look.chosen, dash: '7 4' }, { name: 'flat cycle', values: flat, fill: look.area, dash: '2 3' },
        ], 'harm index taken off, a year', `budget spent by the end of each year, ${unit}`, true)} />
    </div>
  )
}

function Counts({ site, at, year }: { site: string; at: string; year: number }) {
  const cut = useAnswer(() => cutAges(site, at, year), [site, at, year])
  const q = useAnswer(() => quality(site, at, year), [site, at, year])
  const look = lookOf(theme.value)
  const shades = [look.rank[0], look.rank[1], look.rank[2], look.rank[4], look.ground]
  const trees = `the collection of trees, standing ones counted by the service${about(at)}`
  const plain = (id: string, title: string, list: Counted[], note: string, fill = look.rank[3], unit = 'trees') => (
    <Plot key={id} id={id} title={title} source={trees} note={note} says={list.map((c) => `${c.name} ${count(c.n)}`).join(', ') + '.'}
      table={{ columns: ['class', unit], rows: list.map((c) => [c.name, c.n]) }} draw={bars(list.map((c) => c.name), [{ name: unit, values: list.map((c) => c.n), fill }], unit)} />
  )
  return (
    <>
      <Trouble text={cut.error || q.error} />
      {cut.value && cut.value.length > 0 && (
        <Plot id="cut-ages" title="Recorded cuts, by kind and age" source={`the collection of cuts, those whose wood is still there${about(at)}`}
          says={cut.value.map((k) => `${k.kind} ${count(k.counts.reduce((a, b) => a + b, 0))}`).join(', ') + '.'}
          note="Records of cuts; one record may stand for several cuts of a kind. What nobody recorded is not in it. Kinds are those that the lateral rule classes them as."
          table={{ columns: ['kind of cut', ...ageNames], rows: cut.value.map((k) => [k.kind, ...k.counts]) }}
          draw={bars(cut.value.map((k) => k.kind), ageNames.map((name, i) => ({ name, values: cut.value!.map((k) => k.counts[i]!), fill: shades[i]! })), 'records of cuts')} />
      )}
      {q.value && <>
        {plain('topping-ages', 'Trees by years since they were last topped', q.value.topped, 'Trees with a recorded topping cut; the latest dated one counts.')}
        {plain('ages', 'Trees by years since they were planted', q.value.ages, `By the recorded year of planting; ${count(q.value.ages.at(-1)!.n)} of ${plural(q.value.trees, 'tree has', 'trees have')} none.`)}
        {plain('diameters', 'Trees by stem diameter, cm', q.value.diameters, 'At breast height as recorded; a class begins at its lower bound.')}
        {plain('heights-from', 'Where heights come from', q.value.height, 'A height that was not measured is estimated from the stem by equations of the species, the genus, a group of species or trees in general.')}
        {plain('crowns-from', 'Where crown radii come from', q.value.crown, 'As for heights.')}
        {plain('likelihood-from', 'Who said how likely failure is', q.value.likelihood, 'Of the part that weighs most. A rule screens by records; it has not seen the tree.')}
        {plain('visits', 'Trees that somebody visited', q.value.visits, `Of ${plural(q.value.trees, 'standing tree', 'standing trees')}, by recorded visits.`)}
      </>}
      {(q.busy || cut.busy) && <p class="soft pad" role="status">Counting…</p>}
    </>
  )
}
