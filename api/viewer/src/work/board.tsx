import { useSignal } from '@preact/signals'
import { param, tree, view, linkTo } from '../state/store'
import { Button, Select } from '../ui/parts'
import { figure, plural } from '../ui/words'
import { packs, startOf, yearOf, type Moves, type Pack } from './plan'
import { isOver, moneyOf, unitOf } from './programme'
import type { Item, Programme, Year } from './types'

const year = param('work.year')
const dragged = 'application/x-underbough-tree'

// planned are the years as they were before any move.
interface Props { p: Programme; years: readonly Year[]; planned: readonly Year[]; items: readonly Item[]; moves: Moves; onMove: (i: Item, year: number) => void }

// Board sets the years side by side with their packages; on a phone one year is
// shown at a time.
export function Board({ p, years, planned, items, moves, onMove }: Props) {
  const open = useSignal<ReadonlySet<string>>(new Set())
  const over = useSignal<number | null>(null), unit = unitOf(p), money = moneyOf(p)
  const shown = years.some((y) => String(y.year) === year.value) ? Number(year.value) : years[0]!.year
  const turn = (key: string, on: boolean) => {
    const next = new Set(open.value)
    if (on) next.add(key)
    else next.delete(key)
    open.value = next
  }
  const move = (i: Item, to: number) => {
    turn(`${to}/${i.package}`, true)
    if (year.value) year.value = String(to)
    onMove(i, to)
    // The focus goes along with the tree.
    setTimeout(() => document.getElementById(`move-${i.tree_id}`)?.focus(), 60)
  }
  const drop = (e: DragEvent, to: number) => {
    over.value = null
    const item = items.find((i) => String(i.tree_id) === e.dataTransfer?.getData(dragged))
    if (!item) return
    e.preventDefault()
    move(item, to)
  }
  return (
    <>
      <div class="on-phone"><Select label="Year" value={String(shown)} choices={years.map((y) => [String(y.year), `${y.year}: ${plural(y.packages, 'package', 'packages')}${isOver(y) ? ', over budget' : ''}`] as const)} onChange={(v) => { year.value = v }} /></div>
      <div class="columns" id="packages">
        {years.map((y, k) => (
          <section key={y.year} data-year={y.year} class={`column ${y.year === shown ? 'chosen' : ''} ${over.value === y.year ? 'under-drag' : ''} ${isOver(y) ? 'over' : ''}`} aria-labelledby={`year-${y.year}`}
            onDragOver={(e) => { if (e.dataTransfer?.types.includes(dragged)) { e.preventDefault(); over.value = y.year } }} onDragLeave={() => { over.value = null }} onDrop={(e) => drop(e, y.year)}>
            <h3 id={`year-${y.year}`}>{y.year} <span class="soft">{isOver(y) ? `over budget by ${figure(-y.left)} ${unit}` : `${figure(Math.max(0, y.left))} ${unit} left`}</span></h3>
            <p class="column-sums">{figure(y.used)} {unit} used{change(y.used - planned[k]!.used)} · harm index left {y.harm_index_left.toFixed(2)}{change(y.harm_index_left - planned[k]!.harm_index_left)}</p>
            <div class="cards" tabIndex={0} role="group" aria-label={`Packages of ${y.year}`}>
              {packs(items, y.year, moves).map((p) => <PackCard key={p.name} p={p} money={money} y={y.year} years={years} moves={moves} open={open.value.has(`${y.year}/${p.name}`)} onOpen={(on) => turn(`${y.year}/${p.name}`, on)} onMove={move} />)}
            </div>
          </section>
        ))}
      </div>
    </>
  )
}

// change is what moves made of a figure, where it is more than rounding.
const change = (by: number) => Math.abs(by) < 1e-9 ? null : <b> ({by > 0 ? '+' : '−'}{figure(Math.abs(by))})</b>

interface PackProps { p: Pack; money: string; y: number; years: readonly Year[]; moves: Moves; open: boolean; onOpen: (on: boolean) => void; onMove: (i: Item, year: number) => void }

function PackCard({ p, money, y, years, moves, open, onOpen, onMove }: PackProps) {
  return (
    <article class="card">
      <button type="button" class="card-head" aria-expanded={open} onClick={() => onOpen(!open)}>
        <b>{p.name || 'no package'}</b>
        <span>{plural(p.entries.length, 'visit', 'visits')} · {figure(p.hours)} h · cost {figure(p.cost)} {money} · harm {figure(p.harm)}</span>
      </button>
      {open && (
        <ul class="entries">
          {p.entries.map(({ item: i, visit: v }) => {
            const first = v === i.visits[0]
            return (
              <li key={`${i.tree_id}/${v.number}`} draggable={first} data-tree={i.tree_id} class={moves[i.tree_id] === undefined ? '' : 'moved'}
                onDragStart={(e) => { e.dataTransfer?.setData(dragged, String(i.tree_id)); if (e.dataTransfer) e.dataTransfer.effectAllowed = 'move' }}>
                <p><a href={linkTo({ view: 'ask', tree: i.tree_id })} onClick={(e) => { if (e.metaKey || e.ctrlKey) return; e.preventDefault(); view.value = 'ask'; tree.value = i.tree_id }}>{i.tag || `#${i.tree_id}`}</a> {i.work}{i.visits.length > 1 ? `, visit ${v.number} of ${i.visits.length}` : ''} · harm {figure(i.harm_index)}{i.must ? ' · must be done' : ''}{i.late ? ' · late' : ''}{moves[i.tree_id] === undefined ? '' : ` · moved from ${i.first_year}`}</p>
                {first ? (
                  <p class="row"><label for={`move-${i.tree_id}`}>move to <span class="hidden">a year, {i.tag}</span></label>
                    <select id={`move-${i.tree_id}`} value={String(y)} onChange={(e) => onMove(i, Number(e.currentTarget.value))}>
                      {years.map((o) => <option key={o.year} value={String(o.year)}>{o.year}</option>)}
                    </select></p>
                ) : <p class="hint">begins in {startOf(i, moves)}, and moves with its first visit</p>}
                <details><summary>why</summary><p class="hint">{i.why}{i.visits.length > 1 ? `. Visits in ${i.visits.map((v) => yearOf(i, v, moves)).join(', ')}.` : ''}</p></details>
              </li>
            )
          })}
        </ul>
      )}
      {open && <Button look="plain" onClick={() => onOpen(false)}>Close {p.name}</Button>}
    </article>
  )
}
