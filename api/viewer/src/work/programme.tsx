import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { address, get, nextOf, programmes, send, type Parameters } from '../service'
import { useAnswer } from '../service/use'
import { param, site } from '../state/store'
import { Button, Select, Trouble } from '../ui/parts'
import { tell } from '../ui/toast'
import { count, figure, plural } from '../ui/words'
import { By, reading, signed, wrong } from './by'
import { handOf, inHand, letGo } from './hand'
import { agrees, moved, startOf } from './plan'
import { HarmPlot } from './plot'
import { Board } from './board'
import { LeftOut } from './left'
import { MakeProgramme } from './make'
import { Propose } from './propose'
import type { Item, Page, Programme, Year } from './types'

const chosen = param('work.programme')

export function ProgrammeScreen() {
  const again = useSignal(0), making = useSignal(false)
  const list = useAnswer((signal) => programmes(site.value, signal), [site.value, again.value])
  const all = (list.value?.programmes ?? []) as unknown as Programme[]
  const p = all.find((p) => String(p.programme_id) === chosen.value) ?? all.find((p) => p.proposed_at) ?? all[0]
  return (
    <>
      <h2 class="hidden">Programme</h2>
      <Trouble text={list.error} />
      {list.value && !p && <p class="pad">No programme has been kept for this site yet. {!reading.value && <Button look="main" onClick={() => { making.value = true }}>Plan one…</Button>}</p>}
      <MakeProgramme open={making.value} onClose={() => { making.value = false }} onMade={(id) => { again.value++; chosen.value = String(id) }} />
      {p && (
        <>
          <div class="row head">
            <Select label="Programme" value={String(p.programme_id)} onChange={(v) => { chosen.value = v }}
              choices={all.map((p) => [String(p.programme_id), `${p.programme_id}: ${p.name}, ${p.question.from.slice(0, 4)} on, ${plural(p.question.years, 'year', 'years')}${p.proposed_at ? '' : ', not proposed'}`] as const)} />
            <p>Report: <a href={address('/report', { site: site.value, programme: p.programme_id, f: 'html' })}>page</a>, <a href={address('/report', { site: site.value, programme: p.programme_id, f: 'pdf' })}>PDF</a></p>
            {!reading.value && <><Button id="plan-one" onClick={() => { making.value = true }}>Plan another…</Button>
              <Propose p={p} onProposed={() => { again.value++ }} /></>}
          </div>
          <Planned key={p.programme_id} p={p} onMade={(id) => { again.value++; chosen.value = String(id) }} />
        </>
      )}
    </>
  )
}

// itemsOf gathers the trees that have a visit in the programme's years.
async function itemsOf(p: Programme, signal: AbortSignal) {
  const of = new Map<number, Item>()
  for (const y of p.years) {
    let asked: Parameters | null = { year: y.year, limit: 10_000 }
    while (asked) {
      const page: Page & { items: Item[] } = await get(`/programmes/${p.programme_id}/items`, asked, signal)
      for (const i of page.items) if (i.first_year !== null) of.set(i.tree_id, i)
      asked = nextOf(page)
    }
  }
  return [...of.values()].sort((a, b) => a.place - b.place)
}

function Planned({ p, onMade }: { p: Programme; onMade: (id: number) => void }) {
  const hand = handOf(p.programme_id), { moves, puts, before } = hand, says = inHand(hand)
  const busy = useSignal(false), error = useSignal('')
  const items = useAnswer((signal) => itemsOf(p, signal), [p.programme_id])
  const list = items.value ?? []
  const years = moved(p, list, moves.value)
  // Whoever comes back is told.
  useEffect(() => { if (says) tell(`Programme ${p.programme_id}: ${says}`) }, [])
  const putInto = (tag: string, year: number | null) => {
    const { [tag]: _, ...rest } = puts.value
    puts.value = year === null ? rest : { ...rest, [tag]: year }
  }
  const move = (i: Item, year: number) => {
    if (startOf(i, moves.value) === year || !p.years.some((y) => y.year === year)) return
    const { [i.tree_id]: _, ...rest } = moves.value
    const was = moved(p, list, moves.value)
    before.value = [...before.value, moves.value]
    moves.value = year === i.first_year ? rest : { ...rest, [i.tree_id]: year }
    const is = moved(p, list, moves.value)
    const over = is.filter((y, k) => isOver(y) && !isOver(was[k]!)).map((y) => y.year)
    tell(`${i.tag} now begins in ${year}.${over.length ? ` Over budget by that: ${over.join(', ')}.` : ''}`)
  }
  const undo = () => { moves.value = before.value.at(-1) ?? {}; before.value = before.value.slice(0, -1) }
  const make = () => {
    const tags = new Map(list.map((i) => [i.tree_id, i.tag]))
    const pins = new Map((p.question.pins ?? []).map((pin) => [pin.tag, pin.year]))
    for (const [tree, year] of Object.entries(moves.value)) pins.set(tags.get(Number(tree)) || `#${tree}`, year)
    for (const [tag, year] of Object.entries(puts.value)) pins.set(tag, year)
    const { must, pins: _, must_rating, least_harm, must_due, cycle, ...q } = p.question
    const body = { ...q, must_due, cycle, least_harm, ...(must_rating ? { must_rating } : {}), ...(must ? { must } : {}), name: `${p.name.replace(/, moved by hand$/, '')}, moved by hand`, pins: [...pins].map(([tag, year]) => ({ tag, year })) }
    busy.value = true
    error.value = ''
    send<Programme>('/programmes', { site: site.value }, { method: 'POST', body: signed(body) }).then(({ body }) => {
      tell(`Kept as programme ${body.programme_id}. ${body.left?.length ? `Not in the year you put them in, or not at all: ${body.left.join(', ')}.` : 'Every tree is in the year you put it in.'}`)
      letGo(hand)
      onMade(body.programme_id)
    }, (err: Error) => { error.value = wrong(err) }).finally(() => { busy.value = false })
  }
  return (
    <>
      <p class="says">{count(p.planned)} of {plural(p.trees, 'tree', 'trees')} are planned; together they take {figure(p.harm_index_taken_off)} off the harm index over the years, at most {figure(100 * p.gap_share)} % short of the best there can be. As of {p.as_of}, by {p.made_by || 'nobody named'}{p.proposed_at ? `, proposed ${p.proposed_at.slice(0, 10)}` : ', not proposed'}.</p>
      {!!p.left?.length && <p class="says">Has to be done and fits no year: {p.left.join(', ')}.</p>}
      {p.notes?.map((note) => <p key={note} class="says soft">{note}</p>)}
      <div class="summary">
        <Years p={p} years={years} />
        <HarmPlot years={years} />
      </div>
      <p class="hint">{p.assumption}</p>
      <Trouble text={items.error} />
      {items.busy && <p class="soft">Reading the trees of each year…</p>}
      {items.value && !agrees(p, list) && <p class="trouble" role="alert">The page does not come to the harm that the service worked out for this programme: what a move changes of harm is not to be relied on. Work it out again.</p>}
      <section aria-labelledby="board-title">
        <div class="row moves">
          <h2 id="board-title">Packages by year</h2>
          <p role="status">{says || 'Drag a tree into another year, or choose its year.'}</p>
          <Button id="undo" disabled={!before.value.length} onClick={undo}>Undo</Button>
          {!reading.value && <Button look="main" disabled={!says || busy.value} onClick={make}>{busy.value ? 'Working out…' : 'Work out again with these moves'}</Button>}
        </div>
        {says && <By />}
        <Trouble text={error.value} />
        {items.value && <Board p={p} years={years} planned={p.years} items={list} moves={moves.value} onMove={move} />}
        {p.trees > p.planned && <LeftOut p={p} puts={puts.value} onPut={putInto} />}
      </section>
    </>
  )
}

// The units of a programme's costs, and of its budget.
export const moneyOf = (p: Programme) => p.currency || 'units of money'
export const unitOf = (p: Programme) => p.question.measure === 'hours' ? 'crew-hours' : moneyOf(p)

// isOver leaves room for rounding.
export const isOver = (y: Year) => y.left < -1e-6 * Math.max(1, y.budget)

function Years({ p, years }: { p: Programme; years: readonly Year[] }) {
  const unit = unitOf(p)
  const rows: [string, (y: Year) => string][] = [
    ['trees begun', (y) => count(y.trees)], ['visits', (y) => count(y.visits)], ['packages', (y) => count(y.packages)], ['crew-hours', (y) => figure(y.crew_hours)],
    [`cost, ${moneyOf(p)}`, (y) => figure(y.cost)], [`budget, ${unit}`, (y) => figure(y.budget)],
  ]
  return (
    <div class="wide-years" tabIndex={0} role="region" aria-label="Figures by year">
      <table id="years">
        <caption>By year</caption>
        <thead><tr><th scope="col"><span class="hidden">figure</span></th>{years.map((y) => <th key={y.year} scope="col">{y.year}</th>)}</tr></thead>
        <tbody>
          {rows.map(([name, of]) => (
            <tr key={name}><th scope="row">{name}</th>{years.map((y, k) => <td key={y.year} class={'number' + (of(y) === of(p.years[k]!) ? '' : ' changed')}>{of(y)}</td>)}</tr>
          ))}
          <tr data-row="used"><th scope="row">budget used, {unit}</th>{years.map((y, k) => <td key={y.year} title={String(y.used)} class={'number' + (y.used === p.years[k]!.used ? '' : ' changed')}>{figure(y.used)}{y.committed > 0 && <span class="soft"> + {figure(y.committed)} committed</span>}<Bar y={y} /></td>)}</tr>
          <tr data-row="left"><th scope="row">budget left, {unit}</th>{years.map((y) => <td key={y.year} class="number">{isOver(y) ? <b class="over-budget">over by {figure(-y.left)}</b> : figure(Math.max(0, y.left))}</td>)}</tr>
          <tr data-row="harm"><th scope="row">harm index left</th>{years.map((y, k) => <td key={y.year} class={'number' + (y.harm_index_left === p.years[k]!.harm_index_left ? '' : ' changed')} title={String(y.harm_index_left)}>{y.harm_index_left.toFixed(2)}</td>)}</tr>
          <tr><th scope="row">… worst first</th>{years.map((y) => <td key={y.year} class="number">{y.harm_index_left_worst_first.toFixed(2)}</td>)}</tr>
          <tr><th scope="row">… flat cycle</th>{years.map((y) => <td key={y.year} class="number">{y.harm_index_left_flat_cycle.toFixed(2)}</td>)}</tr>
        </tbody>
      </table>
    </div>
  )
}

function Bar({ y }: { y: Year }) {
  const share = y.budget > 0 ? (y.used + y.committed) / y.budget : y.used > 0 ? 1 : 0
  return <span class={'bar' + (isOver(y) ? ' over' : '')} aria-hidden="true"><span style={{ width: `${Math.min(100, 100 * share)}%` }} /></span>
}
