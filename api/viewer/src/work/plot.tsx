import { figure } from '../ui/words'
import type { Year } from './types'

const lines = [
  ['harm_index_left', 'this programme'], ['harm_index_left_worst_first', 'worst first'], ['harm_index_left_flat_cycle', 'flat cycle'],
] as const

const w = 460, h = 190, left = 62, right = 110, top = 24, bottom = 34

// HarmPlot sets the harm that is left against that of two simpler plans.
export function HarmPlot({ years }: { years: readonly Year[] }) {
  const all = years.flatMap((y) => lines.map(([of]) => y[of])).filter(Number.isFinite)
  const lo = Math.min(...all), hi = Math.max(...all, ...years.map((y) => y.harm_index_before)), span = hi - lo || 1
  const x = (k: number) => left + (years.length > 1 ? k / (years.length - 1) : .5) * (w - left - right)
  const y = (v: number) => top + (hi - v) / span * (h - top - bottom)
  const ends = lines.map(([of]) => y(years.at(-1)![of]))
  // Names at the lines' ends, none over another.
  const order = ends.map((_, k) => k).sort((a, b) => ends[a]! - ends[b]!)
  const at: number[] = []
  order.forEach((k, n) => { at[k] = Math.max(ends[k]!, n ? at[order[n - 1]!]! + 13 : 0) })
  const over = Math.max(0, at[order.at(-1)!]! - (h - bottom - 6))
  return (
    <figure class="harm-plot">
      <svg viewBox={`0 0 ${w} ${h}`} role="img" aria-label={`Harm index left by year: ${lines.map(([of, name]) => `${name} ${figure(years[0]![of])} in ${years[0]!.year}, ${figure(years.at(-1)![of])} in ${years.at(-1)!.year}`).join('; ')}`}>
        <text x={2} y={12}>harm index left, a year</text>
        {[lo, (lo + hi) / 2, hi].map((v) => <g key={v}><line class="grid" x1={left} x2={w - right} y1={y(v)} y2={y(v)} /><text x={left - 5} y={y(v) + 4} text-anchor="end">{figure(v)}</text></g>)}
        {years.map((v, k) => <text key={v.year} x={x(k)} y={h - bottom + 16} text-anchor="middle">{years.length > 8 && k % 2 ? '' : v.year}</text>)}
        <text x={(left + w - right) / 2} y={h - 3} text-anchor="middle">year</text>
        {lines.map(([of, name], n) => (
          <g key={of} class={'line n' + n}>
            <polyline points={years.map((v, k) => `${x(k)},${y(v[of])}`).join(' ')} />
            <text x={w - right + 6} y={at[n]! - over + 4}>{name}</text>
          </g>
        ))}
      </svg>
      <figcaption class="hint">The scale does not begin at 0. A harm index orders trees and predicts nothing.</figcaption>
    </figure>
  )
}
