import '../style/figures.css'
import { signal } from '@preact/signals'
import type { ComponentChildren } from 'preact'
import { useRef } from 'preact/hooks'
import { lookOf, type Look } from '../map/look'
import { theme } from '../state/theme'
import { Button } from './parts'
import { saveAs } from './save'
import { figure } from './words'

// Plots: bars and lines with axes, units and sources. Colours are written into the
// drawing, so that it looks the same once it is saved.

export type Cell = string | number | null

// Table is what a plot shows, and what is saved of it.
export interface Table { columns: readonly string[]; rows: readonly (readonly Cell[])[] }

const narrow = matchMedia('(max-width: 45rem)')
const isNarrow = signal(narrow.matches)
narrow.addEventListener('change', (e) => { isNarrow.value = e.matches })

const quoted = (c: Cell) => c === null ? '' : /[",\r\n]/.test(String(c)) ? `"${String(c).replaceAll('"', '""')}"` : String(c)

// csvOf writes a table by RFC 4180; its last column says where the figures come from.
export const csvOf = (t: Table, source: string) =>
  [[...t.columns, 'source'], ...t.rows.map((r) => [...r, source])].map((r) => r.map(quoted).join(',') + '\r\n').join('')

const save = (name: string, type: string, text: string) => saveAs(name, new Blob([text], { type }))

interface PlotProps {
  id: string; title: string; says: string // what is seen, in a sentence
  source: string; note?: ComponentChildren; table: Table
  draw: (look: Look, width: number) => { height: number; body: ComponentChildren }
}

// Plot frames a drawing with its title, its source, its figures as a table and
// what saves both.
export function Plot({ id, title, says, source, note, table, draw }: PlotProps) {
  const ref = useRef<SVGSVGElement>(null)
  const look = lookOf(theme.value)
  const width = isNarrow.value ? 350 : 600
  const { height, body } = draw(look, width)
  const csv = () => save(`${id}.csv`, 'text/csv;charset=utf-8', csvOf(table, source))
  const svg = () => save(`${id}.svg`, 'image/svg+xml', '<?xml version="1.0" encoding="UTF-8"?>\n' + new XMLSerializer().serializeToString(ref.current!))
  return (
    <figure class="graph" id={id}>
      <figcaption><h3>{title}</h3></figcaption>
      <svg ref={ref} xmlns="http://www.w3.org/2000/svg" width={width} height={height} viewBox={`0 0 ${width} ${height}`} role="img" aria-label={`${title}. ${says}`} font-family="Liberation Sans, Arial, Helvetica, sans-serif" font-size="12" fill={look.ink}>
        <desc>{source}</desc>
        <rect width={width} height={height} fill={look.ground} />
        {body}
      </svg>
      {note && <p class="hint">{note}</p>}
      <p class="hint">From: {source}</p>
      <div class="row">
        <Button onClick={svg} aria-label={`Save as SVG: ${title}`}>SVG</Button>
        <Button onClick={csv} aria-label={`Save as CSV: ${title}`}>CSV</Button>
        <details class="figures"><summary>Figures</summary>
          <div class="wide-table" tabIndex={0} role="group" aria-label={`Figures: ${title}`}>
            <table>
              <thead><tr>{table.columns.map((c) => <th key={c} scope="col">{c}</th>)}</tr></thead>
              <tbody>{table.rows.map((r, i) => <tr key={i}>{r.map((c, k) => typeof c === 'number' ? <td key={k} class="number">{Number.isInteger(c) ? table.columns[k] === 'year' ? c : c.toLocaleString('en') : figure(c)}</td> : <td key={k}>{c ?? '–'}</td>)}</tr>)}</tbody>
            </table>
          </div>
        </details>
      </div>
    </figure>
  )
}

// ticks are round numbers from 0 that cover the most, four or five of them.
export function ticks(most: number): number[] {
  if (!(most > 0)) return [0, 1]
  const unit = 10 ** Math.floor(Math.log10(most / 4))
  const step = [1, 2, 2.5, 5, 10].map((n) => n * unit).find((s) => most / s <= 5)!
  return Array.from({ length: Math.ceil(most / step - 1e-9) + 1 }, (_, i) => Number((i * step).toPrecision(12)))
}

const short = (n: number) => n >= 1e6 ? `${Number((n / 1e6).toPrecision(3))} M` : n >= 10_000 ? `${Number((n / 1000).toPrecision(3))} k` : n.toLocaleString('en')

export interface Series { name: string; values: readonly number[]; fill: string; dash?: string }

function Key({ series, look, width, line }: { series: readonly Series[]; look: Look; width: number; line?: boolean }) {
  const each = Math.max(...series.map((s) => s.name.length)) * 7 + 44
  const across = Math.max(1, Math.floor((width - 16) / each))
  return <>{series.map((s, i) => {
    const x = 8 + (i % across) * each, y = 8 + Math.floor(i / across) * 18
    return (
      <g key={s.name}>
        {line ? <line x1={x} x2={x + 22} y1={y + 6} y2={y + 6} stroke={s.fill} stroke-width="2.5" stroke-dasharray={s.dash} /> : <rect x={x} y={y} width="16" height="12" fill={s.fill} stroke={look.ink} stroke-width="0.6" />}
        <text x={x + 28} y={y + 10}>{s.name}</text>
      </g>
    )
  })}</>
}

const keyHeight = (series: readonly Series[], width: number) => {
  if (series.length < 2) return 8
  const across = Math.max(1, Math.floor((width - 16) / (Math.max(...series.map((s) => s.name.length)) * 7 + 44)))
  return 14 + Math.ceil(series.length / across) * 18
}

// bars draws a bar for each label, the series one after the other along it.
export function bars(labels: readonly string[], series: readonly Series[], unit: string) {
  return (look: Look, width: number) => {
    const left = Math.min(170, Math.max(...labels.map((l) => l.length), 1) * 6.6 + 16), right = width - 54, top = keyHeight(series, width), row = 24
    const sums = labels.map((_, i) => series.reduce((n, s) => n + (s.values[i] ?? 0), 0))
    const marks = ticks(Math.max(...sums, 0)), most = marks.at(-1)!
    const x = (v: number) => left + v / most * (right - left), base = top + labels.length * row
    const body = (
      <>
        {series.length > 1 && <Key series={series} look={look} width={width} />}
        {marks.map((m) => <g key={m}><line x1={x(m)} x2={x(m)} y1={top} y2={base + 4} stroke={look.line} stroke-width="0.8" /><text x={x(m)} y={base + 18} text-anchor="middle" font-size="11">{short(m)}</text></g>)}
        {labels.map((label, i) => {
          let from = 0
          return (
            <g key={label}>
              <text x={left - 8} y={top + i * row + 16} text-anchor="end">{label}</text>
              {series.map((s) => {
                const v = s.values[i] ?? 0, at = from
                from += v
                return v > 0 ? <rect key={s.name} x={x(at)} y={top + i * row + 4} width={Math.max(x(v) - left, 0.5)} height={row - 8} fill={s.fill} stroke={look.ink} stroke-width="0.5"><title>{`${label}${series.length > 1 ? ', ' + s.name : ''}: ${figure(v)} ${unit}`}</title></rect> : null
              })}
              <text x={x(sums[i]!) + 5} y={top + i * row + 16} font-size="11">{Number.isInteger(sums[i]) ? sums[i]!.toLocaleString('en') : figure(sums[i])}</text>
            </g>
          )
        })}
        <line x1={left} x2={left} y1={top} y2={base} stroke={look.ink} />
        <line x1={left} x2={right} y1={base} y2={base} stroke={look.ink} />
        <text class="axis" x={(left + right) / 2} y={base + 36} text-anchor="middle">{unit}</text>
      </>
    )
    return { height: base + 46, body }
  }
}

// lines draws values over places along the axis; marks name some of those.
export function lines(at: readonly number[], names: readonly [number, string][], series: readonly Series[], unit: string, across: string, dots: boolean) {
  return (look: Look, width: number) => {
    const top = keyHeight(series, width) + 22, base = top + 200, right = width - 16
    const marks = ticks(Math.max(...series.flatMap((s) => s.values), 0)), most = marks.at(-1)!
    const left = 16 + Math.max(...marks.map((m) => short(m).length)) * 7
    const first = Math.min(...at, ...names.map(([v]) => v)), last = Math.max(...at, ...names.map(([v]) => v))
    const x = (v: number) => left + (last > first ? (v - first) / (last - first) : 0.5) * (right - left), y = (v: number) => base - v / most * (base - top)
    const body = (
      <>
        {series.length > 1 && <Key series={series} look={look} width={width} line />}
        <text class="axis" x="8" y={top - 10}>{unit}</text>
        {marks.map((m) => <g key={m}><line x1={left} x2={right} y1={y(m)} y2={y(m)} stroke={look.line} stroke-width="0.8" /><text x={left - 6} y={y(m) + 4} text-anchor="end" font-size="11">{short(m)}</text></g>)}
        {names.map(([v, name], i) => <g key={name}><line x1={x(v)} x2={x(v)} y1={base} y2={base + 5} stroke={look.ink} /><text x={x(v)} y={base + 18} text-anchor={i === names.length - 1 && v === last && v !== first ? 'end' : 'middle'} font-size="11">{name}</text></g>)}
        {[...series].reverse().map((s) => (
          <g key={s.name} stroke={s.fill} fill={s.fill}>
            <polyline points={s.values.map((v, i) => `${x(at[i]!).toFixed(1)},${y(v).toFixed(1)}`).join(' ')} fill="none" stroke-width="2.2" stroke-dasharray={s.dash} stroke-linejoin="round" />
            {dots && s.values.map((v, i) => <circle key={i} cx={x(at[i]!)} cy={y(v)} r="3"><title>{`${s.name}: ${figure(v)}`}</title></circle>)}
          </g>
        ))}
        <line x1={left} x2={left} y1={top} y2={base} stroke={look.ink} />
        <line x1={left} x2={right} y1={base} y2={base} stroke={look.ink} />
        <text class="axis" x={(left + right) / 2} y={base + 36} text-anchor="middle">{across}</text>
      </>
    )
    return { height: base + 46, body }
  }
}
