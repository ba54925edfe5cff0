import type { Explanation, TreeProps } from '../service'
import { figure } from '../ui/words'

// Worked tells what work on a tree took off its harm.
export function Worked({ x }: { x: Explanation }) {
  if (!x.work.length) return null
  return (
    <section aria-labelledby="worked">
      <h3 id="worked">Work done</h3>
      <div class="wide-table" tabIndex={0} role="group" aria-label="Work done and the harm index">
        <table>
          <thead><tr><th scope="col">work</th><th scope="col">harm before</th><th scope="col">predicted</th><th scope="col">after</th></tr></thead>
          <tbody>
            {x.work.map((w) => (
              <tr key={w.job_id}>
                <th scope="row">{w.work}, visit {w.visit}<br /><span class="soft">{w.done_on}{w.done_by ? ` by ${w.done_by}` : ''}, {w.state}</span></th>
                <td class="number">{figure(w.harm_index_before)}</td><td class="number">{figure(w.harm_index_predicted)}</td><td class="number">{w.harm_index_after === null ? 'not yet' : figure(w.harm_index_after)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <p class="hint">Harm index when the job was made, as the practice’s assumption predicted it, and as computed from the records of what was done. It orders trees; no failure was measured.</p>
    </section>
  )
}

// What one asks of a tree that nobody wrote down.
const asked: [string, (p: TreeProps) => unknown][] = [
  ['species', (p) => p.species], ['stem diameter', (p) => p.dbh_cm], ['height', (p) => p.height_m], ['crown radius', (p) => p.crown_radius_m], ['condition', (p) => p.condition],
  ['year of planting', (p) => p.planted_year], ['lean', (p) => p.lean_deg], ['any visit', (p) => p.last_visit], ['any cut', (p) => p.cut_kinds.length || null],
]

// Missing lists what was not recorded of a tree.
export function Missing({ p }: { p: TreeProps }) {
  const list = asked.filter(([, of]) => { const v = of(p); return v === null || v === undefined || v === '' }).map(([name]) => name)
  if (p.cut_kinds.includes('topping') && p.last_topped === null) list.push('year of the topping')
  return <><dt>not recorded</dt><dd id="missing">{list.length ? list.join(', ') : 'nothing of what is asked here'}</dd></>
}
