import { standing } from '../ask/cql'
import { items, places, placeWeeks, treeWeeks, type PlaceProps, type SharedWeek, type Weeks } from '../service'
import { cuts, kinds } from '../ui/words'

// What the plots show, asked of the service. Trees and cuts are counted there:
// only numbers come. What was asked is kept for a minute, so that one can look
// elsewhere and come back.

const kept = new Map<string, { at: number; answer: Promise<unknown> }>()

export function once<T>(key: string, ask: () => Promise<T>): Promise<T> {
  const known = kept.get(key)
  if (known && Date.now() - known.at < 60_000) return known.answer as Promise<T>
  const answer = ask()
  kept.set(key, { at: Date.now(), answer })
  answer.catch(() => kept.delete(key))
  return answer
}

export interface Counted { name: string; n: number }

async function count(collection: string, site: string, asOf: string, filter: string) {
  const page = await items(collection, { site, as_of: asOf, filter, limit: 1, resultType: 'hits' })
  return page.numberMatched ?? 0
}

const counted = (collection: string, site: string, asOf: string, classes: readonly (readonly [string, string])[]): Promise<Counted[]> =>
  Promise.all(classes.map(async ([name, filter]) => ({ name, n: await count(collection, site, asOf, filter) })))

// Whole places, added up by kind.
export interface ByKind { kind: string; places: number; people: number; sheltered: number; beneath: number; harm: number; uncovered: number }
export interface Places { asOf: string; profile: string; of: number; matched: number; kinds: ByKind[] }

export const hoursAYear = 8760 // 365 days of 24 hours, as person_hours_year has them

const list = (site: string, asOf: string) => once(JSON.stringify(['places', site, asOf]), () => places({ site, as_of: asOf, limit: 10_000 }))

export const byKind = (site: string, asOf: string) => once(JSON.stringify(['kinds', site, asOf]), async (): Promise<Places> => {
  const page = await list(site, asOf) as Awaited<ReturnType<typeof places>> & { as_of: string; profile: string }
  const sums = kinds.map((kind): ByKind => {
    const mine = page.features.map((f) => f.properties).filter((p) => p.kind === kind)
    const hours = (list: PlaceProps[]) => hoursAYear * list.reduce((n, p) => n + p.people, 0)
    return { kind, places: mine.length, people: hours(mine), sheltered: hoursAYear * mine.reduce((n, p) => n + p.people_sheltered, 0), beneath: hours(mine.filter((p) => p.covered)), harm: mine.reduce((n, p) => n + p.harm_index, 0), uncovered: mine.filter((p) => !p.covered).length }
  })
  return { asOf: page.as_of, profile: page.profile, of: page.features.length, matched: page.numberMatched ?? page.features.length, kinds: sums.filter((k) => k.places > 0) }
})

// Weeks added up hour by hour: those under the first trees by harm index, and
// those of whole places by kind.
export const mostWeeks = 5000
export interface Week { people: number[]; trees: number; more: boolean }
export interface KindWeeks { kinds: { kind: string; people: number[] }[]; places: number }

const added = (a: Weeks, list: readonly SharedWeek[]) => {
  const by = new Array<number>(a.weeks.length).fill(0)
  for (const v of list) v.weeks.forEach((w, i) => { by[w]! += v.persons[i]! })
  return Array.from({ length: 168 }, (_, h) => by.reduce((n, persons, w) => n + persons * a.weeks[w]!.factors[h]!, 0))
}

export const week = (site: string, asOf: string) => once(JSON.stringify(['week', site, asOf]), async (): Promise<Week> => {
  const a = await treeWeeks({ site, as_of: asOf, limit: mostWeeks })
  return { people: added(a, a.trees ?? []), trees: a.trees?.length ?? 0, more: a.more }
})

export const kindWeeks = (site: string, asOf: string) => once(JSON.stringify(['kind weeks', site, asOf]), async (): Promise<KindWeeks> => {
  const [page, a] = await Promise.all([list(site, asOf), placeWeeks({ site, as_of: asOf })])
  const kind = new Map(page.features.map((f) => [f.id, f.properties.kind]))
  const known = (a.places ?? []).filter((p) => kind.has(p.target_id))
  return { places: known.length, kinds: kinds.map((k) => ({ kind: k, people: added(a, known.filter((p) => kind.get(p.target_id) === k)) })).filter((k) => k.people.some((n) => n > 0)) }
})

// Years since a cut, in classes: a year of the class's end and of its begin.
const classes = (year: number): [string, number, number][] => [['0 to 4 years', year - 4, 9999], ['5 to 9', year - 9, year - 5], ['10 to 19', year - 19, year - 10], ['20 and more', 0, year - 20]]
export const ageNames = [...classes(0).map(([name]) => name), 'year not recorded']
const made = (from: number, to: number) => `(made_year >= ${from} AND made_year <= ${to} OR made_year IS NULL AND made_on >= DATE('${String(from).padStart(4, '0')}-01-01') AND made_on <= DATE('${to}-12-31'))`
const there = 'gone_on IS NULL'

export interface CutAges { kind: string; counts: number[] } // by ageNames

export const cutAges = (site: string, asOf: string, year: number) => once(JSON.stringify(['cuts', site, asOf, year]), async (): Promise<CutAges[]> => {
  const totals = await Promise.all(cuts.map(async (kind) => [kind, await count('cuts', site, asOf, `${there} AND kind = '${kind}'`)] as const))
  return Promise.all(totals.filter(([, n]) => n > 0).map(async ([kind, n]) => {
    const dated = await counted('cuts', site, asOf, classes(year).map(([name, from, to]) => [name, `${there} AND kind = '${kind}' AND ${made(Math.max(from, 1), to)}`] as const))
    const sums = dated.map((d) => d.n)
    return { kind, counts: [...sums, n - sums.reduce((a, b) => a + b, 0)] }
  }))
})

export interface Quality { ages: Counted[]; topped: Counted[]; diameters: Counted[]; height: Counted[]; crown: Counted[]; likelihood: Counted[]; visits: Counted[]; trees: number }

const origins = ['measured', 'species', 'genus', 'group', 'general']

export const quality = (site: string, asOf: string, year: number) => once(JSON.stringify(['quality', site, asOf, year]), async (): Promise<Quality> => {
  const trees = (classes: [string, string][]) => counted('trees', site, asOf, classes.map(([name, filter]) => [name, `${standing}${filter && ' AND '}${filter}`] as const))
  const sizes = [10, 20, 30, 40, 50, 60, 80, 100]
  const from = (name: string) => trees([...origins.map((o): [string, string] => [o === 'measured' ? o : `estimated, ${o}`, `${name} = '${o}'`]), ['not computed', `${name} IS NULL`]])
  const planted = [10, 20, 40, 60, 80]
  const [ages, topped, diameters, height, crown, likelihood, visits, all] = await Promise.all([
    trees([...planted.map((n, i): [string, string] => [i ? `${planted[i - 1]} to ${n - 1} years` : 'under 10 years', `planted_year > ${year - n}${i ? ` AND planted_year <= ${year - planted[i - 1]!}` : ''}`]), ['80 and more', `planted_year <= ${year - 80}`], ['not recorded', 'planted_year IS NULL']]),
    trees([...classes(year).map(([name, a, b]): [string, string] => [name, `last_topped >= ${Math.max(a, 1)} AND last_topped <= ${b}`]), ['year not recorded', "A_CONTAINS(cut_kinds, ('topping')) AND last_topped IS NULL"]]),
    trees([...sizes.map((s, i): [string, string] => [i ? `${sizes[i - 1]} to ${s}` : `under ${s}`, `${i ? `dbh_cm >= ${sizes[i - 1]} AND ` : ''}dbh_cm < ${s}`]), [`${sizes.at(-1)} and more`, `dbh_cm >= ${sizes.at(-1)}`], ['not recorded', 'dbh_cm IS NULL']]),
    from('height_from'), from('crown_radius_from'),
    trees([['judged by a person', 'inferred = false'], ['inferred by a rule', 'inferred = true'], ['not known', 'inferred IS NULL']]),
    trees([['visited', 'last_visit IS NOT NULL'], ['never visited', 'last_visit IS NULL']]),
    trees([['all', '']]),
  ])
  return { ages, topped, diameters, height, crown, likelihood, visits, trees: all[0]!.n }
})

