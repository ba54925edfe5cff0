import { address, get } from '../service'
import { useAnswer } from '../service/use'
import { Trouble } from '../ui/parts'
import { figure, plural, word } from '../ui/words'

interface Visit { number: number; after_years: number; dose: number; goal: string; items: { cut?: string; place: string; text: string; rule: string }[] }

interface Specified {
  specification: {
    work: string; objective: string; maturity: string; stressed: boolean; dose_cap: number; dose_total: number; visits: Visit[]; not: string[]; stop: string; second_opinion?: string; cycle_years: number; note?: string
    rules: { rule: string; why: string; source: string }[]; overrides?: { rule: string; breach: string; reason: string; by: string; at: string }[]; as_of: string
  }
  by_person: boolean; package: string; visit_cost: { crew_hours: number; cost: number }; currency: string; open_days: string; closed: { from: string; to: string; windows: string[] }[]
  quietest: string; progress: { next: number; words: string }; history: { specification_id: number; by_person: boolean; made_at: string; made_by: string }[]; takes_off_share: number; practice: string; windows_note: string; cautions: string
}

// Specification tells what to cut on a tree, and draws it.
export function Specification({ site, tag, asOf, deps }: { site: string; tag: string; asOf: string; deps: readonly unknown[] }) {
  const asked = useAnswer((signal) => get<Specified>('/specification', { site, tag, as_of: asOf }, signal), [...deps, asOf])
  const d = asked.value
  return (
    <section class="spec" aria-labelledby="spec">
      <h3 id="spec">What to cut</h3>
      <Trouble text={asked.error} />
      {asOf && d && <p class="hint">As it would have been specified as of {asOf}: by what was recorded and decided then.</p>}
      {d ? <Told d={d} site={site} tag={tag} asOf={asOf} /> : !asked.error && <p class="soft" role="status">Working it out…</p>}
    </section>
  )
}

function Told({ d, site, tag, asOf }: { d: Specified; site: string; tag: string; asOf: string }) {
  const s = d.specification
  const next = s.visits.find((v) => v.number === (d.progress.next || 1)) ?? s.visits[0]
  const view = (of: 'side' | 'plan', says: string) => <img class="drawing" loading="lazy" src={address('/drawing.svg', { site, tag, view: of, as_of: asOf })} alt={`Tree ${tag} ${says}, with its recorded cuts${next?.items.length ? ` and the ${next.items.length} instructions of visit ${next.number}` : ''}. The instructions stand in words below.`} />
  return (
    <>
      <p><b>{word(s.work)}</b>: {s.objective}</p>
      <p class="hint">{d.by_person ? 'As a person decided it.' : 'By rules, from the records: nobody has confirmed it.'} {d.progress.words}</p>
      {s.second_opinion && <p class="mind"><b>Have somebody qualified look first:</b> {s.second_opinion}.</p>}
      {view('side', 'from the side')}
      {s.visits.map((v) => (
        <div key={v.number}>
          <h4>Visit {v.number}{v.after_years ? `, ${plural(v.after_years, 'year', 'years')} after the first` : ''}</h4>
          <p class="soft">{v.goal} {v.dose > 0 ? `At most ${figure(100 * v.dose)} % of the live crown.` : 'Nothing live.'}</p>
          <ol>{v.items.map((it, i) => <li key={i}>{it.text} <span class="soft">({it.rule})</span></li>)}</ol>
        </div>
      ))}
      {s.stop && <p>Finished: {s.stop}</p>}
      {s.note && <p>Note: {s.note}</p>}
      {s.overrides && s.overrides.length > 0 && <><h4>Against the rules, with a reason</h4><ul>{s.overrides.map((o, i) => <li key={i}><b>{o.rule}</b>: {o.breach}. {o.reason} ({o.by}, {o.at.slice(0, 10)})</li>)}</ul></>}
      <details><summary>From above, over the places beneath</summary>{view('plan', 'from above')}</details>
      <details><summary>What not to do ({s.not.length})</summary><ul>{s.not.map((n) => <li key={n}>{n}</li>)}</ul></details>
      <details><summary>Why, rule by rule</summary><ul>{s.rules.map((r, i) => <li key={i}><b>{r.rule}</b>: {r.why}. <span class="soft">Source: {r.source}.</span></li>)}</ul></details>
      <h4>When and what it takes</h4>
      <dl class="pairs">
        <dt>days open</dt><dd>{d.open_days}</dd>
        <dt>quietest hours</dt><dd>{d.quietest || 'nobody is recorded or assumed beneath'}</dd>
        <dt>a visit</dt><dd>{figure(d.visit_cost.crew_hours)} crew-hours, {figure(d.visit_cost.cost)} {d.currency || 'units of money'} <abbr class="inferred" title={`by the rates of the practice “${d.practice}”`}>estimated</abbr></dd>
        <dt>takes off</dt><dd>{figure(100 * d.takes_off_share)} % of the harm index, a visit <abbr class="inferred" title={`assumed by the practice “${d.practice}”, promised by nobody`}>assumed</abbr></dd>
        <dt>next look</dt><dd>{plural(s.cycle_years, 'year', 'years')} after the last visit</dd>
        <dt>package</dt><dd>{d.package}</dd>
      </dl>
      {d.closed.length > 0 && <details><summary>Days closed ({d.closed.length})</summary><ul>{d.closed.map((c) => <li key={c.from}>{c.from} to {c.to}: {c.windows.join('; ')}</li>)}</ul><p class="hint">{d.windows_note}</p></details>}
      {d.history.length > 0 && <details><summary>Kept before ({d.history.length})</summary><ul>{d.history.map((h) => <li key={h.specification_id}>{h.made_at.slice(0, 10)} by {h.made_by}{h.by_person ? ', changed by hand' : ', by rules'}</li>)}</ul></details>}
      <p class="hint">By the practice “{d.practice}”, as of {s.as_of}. {d.cautions}</p>
    </>
  )
}
