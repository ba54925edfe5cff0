import type { ExplainedPart, OverlapTarget } from '../service'
import { Inferred } from '../ui/parts'
import { figure, hourName, word } from '../ui/words'

// Part is one line of a tree's sum: how likely × how many people × what share of
// the ground is struck, and each overlap it is made of.
export function Part({ p }: { p: ExplainedPart }) {
  return (
    <section class="part" aria-label={p.part}>
      <h4>{p.part} <span class="soft">{p.zone}</span></h4>
      <p>
        <b>{p.likelihood}</b> {p.inferred ? <><Inferred /> by the rule “{p.rule}”</> : 'as a visitor judged'}{p.stale && ', some time ago'}.
        {' '}On average {figure(p.people)} people and {figure(p.vehicles)} vehicles beneath; up to {figure(p.busiest_people)} people at {hourName(p.busiest_hour)}; somebody in {figure(100 * p.occupied_share)} % of all hours.
      </p>
      <p class="soft">chance {figure(p.chance)} × people × share struck {figure(p.share_struck)}, weighed: harm index {figure(p.harm_people_index)} for people, {figure(p.harm_property_index)} for property. Chance and weights are assumptions of the profile.</p>
      {p.targets.length > 0 ? <Overlaps list={p.targets} part={p.part} /> : <p class="soft">No recorded place in reach.</p>}
    </section>
  )
}

const size = (t: OverlapTarget) => [t.area_m2 > 0 ? `${figure(t.area_m2)} m²` : '', t.length_m > 0 ? `${figure(t.length_m)} m` : '', t.points > 0 ? `${t.points}×` : ''].filter(Boolean).join(' + ')

function Overlaps({ list, part }: { list: OverlapTarget[]; part: string }) {
  const sorted = [...list].sort((a, b) => b.people - a.people)
  return (
    <div class="wide-table" tabIndex={0} role="group" aria-label={`What the ${part} reaches`}>
      <table>
        <caption>What the {part} reaches</caption>
        <thead><tr><th scope="col">place</th><th scope="col">how much</th><th scope="col">people</th><th scope="col">vehicles</th></tr></thead>
        <tbody>
          {sorted.map((t) => (
            <tr key={t.target_id}>
              <th scope="row">{word(t.kind)}{t.name ? `, ${t.name}` : ` ${t.target_id}`}</th>
              <td class="number">{size(t)}</td><td class="number">{figure(t.people)}</td><td class="number">{figure(t.vehicles)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  )
}
