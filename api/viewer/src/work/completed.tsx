import { figure } from '../ui/words'
import type { Completion, Defect } from './types'

const centimetres = (m: number | undefined) => m === undefined ? '' : `${figure(100 * m)} cm`

// Completed tells what a crew recorded, the last round first.
export function Completed({ c, standing }: { c: Completion; standing: Defect[] }) {
  const rounds = [c, ...[...(c.earlier ?? [])].reverse()]
  return (
    <section id="completed" aria-labelledby="completed-title">
      <h3 id="completed-title">What was done</h3>
      {standing.length > 0 && (
        <div class="trouble"><b>{standing.length === 1 ? 'One defect stands' : `${standing.length} defects stand`}</b><ul>{standing.map((d, k) => <li key={k}>{d.cut >= 0 ? `cut ${d.cut + 1}: ` : ''}{d.what} <span class="soft">({d.rule})</span></li>)}</ul></div>
      )}
      {rounds.map((r, k) => (
        <div key={k}>
          <h4>{r.on.slice(0, 10)}, {r.by}{k ? ', sent back since' : ''}</h4>
          <p>{[r.hours === undefined ? '' : `${figure(r.hours)} crew-hours`, r.dose === undefined ? '' : `${figure(100 * r.dose)} % of the live crown`, r.height_m === undefined ? '' : `${figure(r.height_m)} m high after it`, r.crown_radius_m === undefined ? '' : `crown radius ${figure(r.crown_radius_m)} m`, r.removed ? 'the tree was taken down' : '', r.finished ? 'the work is at its end' : ''].filter(Boolean).join(', ')}</p>
          <ol>{r.cuts?.map((u, n) => <li key={n}>{u.count && u.count > 1 ? `${u.count} × ` : ''}{u.kind} {[centimetres(u.diameter_m), u.lateral_diameter_m === undefined ? '' : `to a lateral of ${centimetres(u.lateral_diameter_m)}`, u.stub_length_m ? `stub of ${centimetres(u.stub_length_m)}` : '', u.height_m === undefined ? '' : `${figure(u.height_m)} m up`, u.bearing_deg === undefined ? '' : `at ${figure(u.bearing_deg)}°`, u.reach_m === undefined ? '' : `${figure(u.reach_m)} m out`, u.regrowth_left_m === undefined ? '' : `shoots of ${figure(u.regrowth_left_m)} m left`, u.gone ? 'the old cut is gone with it' : ''].filter(Boolean).join(', ')}</li>)}</ol>
          {r.deviations?.map((d, n) => <p key={n}>Otherwise than specified: {d.what} ({d.reason})</p>)}
          {r.position && <p>Recorded at {r.position.latitude.toFixed(5)}, {r.position.longitude.toFixed(5)} ± {figure(r.position.accuracy_m)} m{r.position.from_tree_m === undefined ? '' : `, ${figure(r.position.from_tree_m)} m from the tree`}, {r.position.at.slice(0, 16).replace('T', ' ')} UTC</p>}
          {r.notices?.map((n) => <p key={n} class="notice"><b>To look at:</b> {n}</p>)}
          {r.note && <p>{r.note}</p>}
        </div>
      ))}
    </section>
  )
}
