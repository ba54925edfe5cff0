import type { ExplainedPart, Explanation, OverlapTarget } from '../service'
import { Inferred } from '../ui/parts'
import { exact, figure, hourName, word } from '../ui/words'

// Part is one line of a tree's sum: how likely × how many people × what share of
// the ground is struck, and each overlap it is made of.
export function Part({ p, x }: { p: ExplainedPart; x: Explanation }) {
  return (
    <section class="part" aria-label={p.part}>
      <h4>{p.part} <span class="soft">{p.zone}</span></h4>
      <p>
        <b>{p.likelihood}</b> {p.inferred ? <><Inferred /> by the rule “{p.why}”</> : p.why}.
        {' '}On average {figure(p.people)} people in the open and in vehicles, under a roof {figure(p.people_sheltered)}, and {figure(p.vehicles)} vehicles beneath; up to {figure(p.busiest_people)} people at {hourName(p.busiest_hour)}; somebody in {figure(100 * p.occupied_share)} % of all hours.
      </p>
      {p.vehicles_meeting > 0 && <p>Drivers who could meet what has fallen: {figure(p.vehicles_meeting)} vehicles with {figure(p.people_meeting)} people on average; not in the harm index.</p>}
      <p>Rated {p.rating_people} for people ({p.rating_busiest_hour} by the busiest hour), {p.rating_property} for property.</p>
      <Factors p={p} x={x} />
      {p.targets.length > 0 ? <Overlaps list={p.targets} part={p.part} /> : <p class="soft">No recorded place in reach.</p>}
    </section>
  )
}

// Factors gives every factor of a part's harm, to be multiplied anew. The index is
// persons a year times 1,000.
function Factors({ p, x }: { p: ExplainedPart; x: Explanation }) {
  const times = `1,000 × chance ${exact(p.chance)} ${x.chance_over} × share struck ${exact(p.share_struck)} × `
  return (
    <p class="soft worked">
      {times}({exact(p.windy_people_open)} people in the open + {exact(p.windy_people_in_vehicles)} in vehicles × {exact(x.weight_in_vehicle)} + {exact(p.windy_people_sheltered)} under a roof × {exact(x.weight_sheltered)}) = <b>{exact(p.harm_people_index)}</b> for people.{' '}
      {times}{exact(p.windy_vehicles)} vehicles = <b>{exact(p.harm_property_index)}</b> for property, × {exact(x.weight_property)}.{' '}
      Harm index together: <b>{exact(p.harm_people_index + x.weight_property * p.harm_property_index)}</b>.
    </p>
  )
}

const size = (t: OverlapTarget) => [t.area_m2 > 0 ? `${figure(t.area_m2)} m²` : '', t.length_m > 0 ? `${figure(t.length_m)} m` : '', t.points > 0 ? `${t.points}×` : ''].filter(Boolean).join(' + ')

function Overlaps({ list, part }: { list: OverlapTarget[]; part: string }) {
  const sorted = [...list].sort((a, b) => b.people + b.people_sheltered - a.people - a.people_sheltered)
  return (
    <div class="wide-table" tabIndex={0} role="group" aria-label={`What the ${part} reaches`}>
      <table>
        <caption>What the {part} reaches</caption>
        <thead><tr><th scope="col">place</th><th scope="col">how much</th><th scope="col">people</th><th scope="col">under a roof</th><th scope="col">vehicles</th></tr></thead>
        <tbody>
          {sorted.map((t) => (
            <tr key={t.target_id}>
              <th scope="row">{word(t.kind)}{t.name ? `, ${t.name}` : ` ${t.target_id}`}</th>
              <td class="number">{size(t)}</td><td class="number">{figure(t.people)}</td><td class="number">{figure(t.people_sheltered)}</td><td class="number">{figure(t.vehicles)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  )
}
