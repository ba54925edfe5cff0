import type { Item, PlannedVisit, Programme, Year } from './types'

// What a programme comes to when trees begin in other years: the service's own
// assumption, worked out in the page so that it answers at once. A visit counts for
// half of its year, all of the years after and half of the year in which its effect
// ends; a later visit by then renews it and takes its share of the rest.

export type Moves = Readonly<Record<number, number>> // tree: the year its first visit is in

// lastsOf is how many years a visit's effect is taken to last; null for a programme
// from before that was kept.
export function lastsOf(p: Programme): number | null {
  return p.lasts_years || null
}

// shares is the mean share of a tree's harm that is left in each year, from year
// `from` on, when its first visit is in year start.
export function shares(visits: readonly PlannedVisit[], start: number, lasts: number, from: number, years: number): number[] {
  const first = visits[0]?.year ?? 0
  let next = 0, share = 1, ends = -Infinity
  return Array.from({ length: years }, (_, y) => {
    const before = share, v = visits[next]
    if (v && start + v.year - first === from + y) {
      share *= 1 - v.takes_off
      ends = y + lasts
      next++
    } else if (y >= ends) share = 1
    return (before + share) / 2
  })
}

// startOf is the year of a tree's first visit, moved or not.
export const startOf = (i: Item, moves: Moves) => moves[i.tree_id] ?? i.first_year!

// yearOf is the calendar year of one of its visits.
export const yearOf = (i: Item, v: PlannedVisit, moves: Moves) => v.year + startOf(i, moves) - i.first_year!

// setUp is what one package of a year costs besides its visits.
export function setUp(p: Programme) {
  const y = p.years.find((y) => y.packages > 0)
  return { hours: y ? y.setup_hours / y.packages : 0, cost: y ? y.setup_cost / y.packages : 0 }
}

function worked(years: readonly Year[], items: readonly Item[], moves: Moves) {
  const packages = years.map(() => new Set<string>())
  const sums = years.map(() => ({ trees: 0, visits: 0, hours: 0, cost: 0, packages: 0 }))
  for (const i of items) for (const v of i.visits) {
    const y = yearOf(i, v, moves) - years[0]!.year, s = sums[y]
    if (!s) continue
    if (v === i.visits[0]) s.trees++
    s.visits++
    s.hours += v.hours
    s.cost += v.cost
    packages[y]!.add(i.package)
  }
  sums.forEach((s, y) => { s.packages = packages[y]!.size })
  return sums
}

// moved is the programme's years after moves: its own figures, and what the moves
// change of them.
export function moved(p: Programme, items: readonly Item[], moves: Moves): Year[] {
  if (Object.keys(moves).length === 0) return p.years
  const lasts = lastsOf(p), from = p.years[0]!.year, n = p.years.length, up = setUp(p)
  const before = worked(p.years, items, {}), after = worked(p.years, items, moves)
  const harm = new Array<number>(n).fill(0)
  for (const i of items) {
    if (moves[i.tree_id] === undefined || lasts === null) continue
    const was = shares(i.visits, i.first_year!, lasts, from, n), is = shares(i.visits, startOf(i, moves), lasts, from, n)
    for (let y = 0; y < n; y++) harm[y]! += i.harm_index * (is[y]! - was[y]!)
  }
  return p.years.map((y, k) => {
    const b = before[k]!, a = after[k]!, packages = a.packages - b.packages
    const hours = a.hours - b.hours + packages * up.hours, cost = a.cost - b.cost + packages * up.cost
    const used = p.question.measure === 'hours' ? hours : cost
    return {
      ...y, trees: y.trees + a.trees - b.trees, visits: y.visits + a.visits - b.visits, packages: y.packages + packages,
      crew_hours: y.crew_hours + hours, cost: y.cost + cost, used: y.used + used, left: y.left - used, harm_index_left: y.harm_index_left + harm[k]!,
    }
  })
}

// agrees reports whether the page comes to the harm that the service worked out;
// where it does not, moves are shown without harm.
export function agrees(p: Programme, items: readonly Item[]): boolean {
  const lasts = lastsOf(p)
  if (lasts === null) return false
  const left = p.years.map((y) => y.harm_index_before)
  for (const i of items) shares(i.visits, i.first_year!, lasts, p.years[0]!.year, left.length).forEach((s, y) => { left[y]! += i.harm_index * (s - 1) })
  return p.years.every((y, k) => Math.abs(left[k]! - y.harm_index_left) <= 1e-6 * Math.max(1, y.harm_index_before))
}

export interface Pack { name: string; entries: { item: Item; visit: PlannedVisit }[]; hours: number; cost: number; harm: number }

// packs are the packages of a year with the visits in each, by harm.
export function packs(items: readonly Item[], year: number, moves: Moves): Pack[] {
  const of = new Map<string, Pack>()
  for (const item of items) for (const visit of item.visits) {
    if (yearOf(item, visit, moves) !== year) continue
    let p = of.get(item.package)
    if (!p) of.set(item.package, p = { name: item.package, entries: [], hours: 0, cost: 0, harm: 0 })
    p.entries.push({ item, visit })
    p.hours += visit.hours
    p.cost += visit.cost
    p.harm += item.harm_index
  }
  return [...of.values()].sort((a, b) => b.harm - a.harm || a.name.localeCompare(b.name))
}
