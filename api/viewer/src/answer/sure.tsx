import { useState } from 'preact/hooks'
import { ranking } from '../service'
import { useAnswer } from '../service/use'
import { asOf } from '../state/store'
import { theme } from '../state/theme'
import { lookOf } from '../map/look'
import { Button, Trouble } from '../ui/parts'
import { count, figure } from '../ui/words'

const draws = 200
const top = 10
const farthest = 10_000 // that one answer lists

interface Sure { low: number; high: number; top: number; of: number }

// HowSure tells between which places a tree stands once all that is uncertain is
// drawn anew. It goes through the whole site, so it is asked for by a button.
export function HowSure({ id, site, rank }: { id: number; site: string; rank: number }) {
  const [wanted, want] = useState(false)
  const at = asOf.value
  const asked = useAnswer(wanted ? async (signal): Promise<Sure | null> => {
    const page = await ranking({ site, as_of: at, draws, top, limit: Math.min(rank + 50, farthest) }, signal)
    const p = page.features.find((f) => f.id === id)?.properties
    return p && p.rank_low !== null && p.rank_high !== null ? { low: p.rank_low, high: p.rank_high, top: p.top_share ?? 0, of: page.numberMatched ?? page.features.length } : null
  } : null, [wanted, id, site, at, rank])
  if (rank > farthest) return null
  const s = asked.value
  return (
    <section aria-labelledby="sure">
      <h3 id="sure">How sure is its place?</h3>
      {!wanted && <><Button onClick={() => want(true)}>Draw the uncertain inputs anew, {draws} times</Button><p class="hint">Goes through all trees of the site.</p></>}
      <Trouble text={asked.error} />
      {wanted && asked.busy && <p class="soft" role="status">Drawing…</p>}
      {wanted && !asked.busy && !asked.error && !s && <p class="soft">The answer does not list this tree.</p>}
      {s && <Interval s={s} rank={rank} />}
    </section>
  )
}

function Interval({ s, rank }: { s: Sure; rank: number }) {
  const look = lookOf(theme.value)
  const left = 14, right = 316, most = Math.max(s.of, 2)
  // Places are ten times as far apart at the front: the axis goes by their logarithm.
  const x = (place: number) => left + Math.log(place) / Math.log(most) * (right - left)
  const marks = [1, 10, 100, 1000, 10_000, 100_000].filter((m) => m < most / 1.8 || m === 1)
  const says = `Place ${rank} of ${count(s.of)}: between ${count(s.low)} and ${count(s.high)} in 90 of 100 draws.`
  return (
    <>
      <svg class="strip interval" viewBox="0 0 330 62" role="img" aria-label={says} style={{ cursor: 'auto' }}>
        {[...marks, most].map((m) => <g key={m}><line x1={x(m)} x2={x(m)} y1="36" y2="41" stroke={look.ink} /><text x={x(m)} y="52" text-anchor={m === most ? 'end' : m === 1 ? 'start' : 'middle'}>{count(m)}</text></g>)}
        <line x1={left} x2={right} y1="36" y2="36" stroke={look.ink} />
        <line x1={x(s.low)} x2={Math.max(x(s.high), x(s.low) + 2)} y1="20" y2="20" stroke={look.rank[3]} stroke-width="6" />
        <circle cx={x(rank)} cy="20" r="6" fill={look.chosen} stroke={look.ground} stroke-width="1.5" />
        <text x={right} y="61" text-anchor="end">place in the site, by logarithm</text>
      </svg>
      <p>{says} Among the first {top} in {figure(100 * s.top)} %.</p>
      <p class="hint">From {draws} draws of the inputs that the profile calls uncertain. The dot is its place with the inputs as they stand.</p>
    </>
  )
}
