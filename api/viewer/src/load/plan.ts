import type { FieldSpec, Role, Rule, Sent } from './types'
import { fault, fieldWord } from './words'

// Plan is how a file is to be read, as the page keeps it.
export interface Plan {
  as: string; site: string; timeZone: string // of a new site
  columns: Record<string, Rule> // by column
  values: { field: string; value: string }[] // one for all records
  where: { column: string; value: string }[]
  layer: string; maxKM: string
  longitude: string; latitude: string; wkt: string
}

export const newSite = '\u0000'

export const roleOf = (s: Sent, p: Plan) => s.roles.find((r) => r.as === p.as)!

const missing = (r: Role, has: (field: string) => boolean) => r.required.filter((group) => !group.some(has))

// likeliest is what the names of columns say most about.
export function likeliest(s: Sent): string {
  const placed = s.format === 'geojson' || !!s.longitude || !!s.wkt
  const score = (r: Role) => r.mapping.length - 4 * missing(r, (f) => r.mapping.some((m) => m.field === f)).length - (r.located && !placed ? 8 : 0)
  return s.roles.reduce((best, r) => score(r) > score(best) ? r : best).as
}

// proposed is a plan as the names of columns propose it.
export function proposed(s: Sent, as: string, before?: Plan): Plan {
  const role = s.roles.find((r) => r.as === as)!
  return {
    as, site: before?.site ?? '', timeZone: before?.timeZone ?? Intl.DateTimeFormat().resolvedOptions().timeZone,
    columns: Object.fromEntries(role.mapping.filter((m) => m.from).map((m) => [m.from!, m])),
    values: as === 'targets' && !role.mapping.some((m) => m.field === 'kind') ? [{ field: 'kind', value: '' }] : [],
    where: before?.where ?? [], layer: '', maxKM: before?.maxKM ?? '200',
    longitude: s.longitude, latitude: s.latitude, wkt: s.wkt,
  }
}

export const placesOf = (p: Plan) => [p.longitude, p.latitude, p.wkt].filter(Boolean)

// lacks says what keeps a plan from being run, in words.
export function lacks(s: Sent, p: Plan): string[] {
  const r = roleOf(s, p), out: string[] = []
  const used = Object.entries(p.columns).filter(([c]) => !placesOf(p).includes(c)).map(([, rule]) => rule.field)
  const given = p.values.filter((v) => v.value.trim()).map((v) => v.field)
  for (const group of missing(r, (f) => used.includes(f) || given.includes(f))) out.push(`${group.map(fieldWord).join(' or ')} is missing: choose its column, or give one value to all records`)
  if (used.includes('count') && ![...used, ...given].some((f) => ['what', 'people', 'vehicles'].includes(f))) out.push('what was counted is missing: give people or vehicles to all records')
  if (r.located && s.format === 'csv' && !p.wkt && !(p.longitude && p.latitude)) out.push('the place is missing: choose the columns of longitude and latitude, or of well-known text')
  for (const [column, rule] of Object.entries(p.columns)) {
    const f = fieldOf(r, rule.field)
    if (f?.needs_unit && !rule.unit) out.push(`the unit of ${column} is missing`)
  }
  for (const v of p.values) {
    const f = fieldOf(r, v.field)
    if (used.includes(v.field)) out.push(`${fieldWord(v.field)} has a column and one value for all: take one of the two away`)
    else if (f && fault(f, v.value)) out.push(`${fieldWord(v.field)}: ${fault(f, v.value)}`)
  }
  if (!p.site.replace(newSite, '').trim()) out.push('the site is missing')
  if (!/^\d+(\.\d+)?$/.test(p.maxKM.trim())) out.push('the distance is no number of kilometres')
  return out
}

export const fieldOf = (r: Role, name: string): FieldSpec | undefined => r.fields.find((f) => f.name === name)

// bodyOf is a plan as the service takes it.
export function bodyOf(s: Sent, p: Plan) {
  const rules: Rule[] = Object.entries(p.columns).filter(([c]) => !placesOf(p).includes(c)).map(([from, r]) => ({ field: r.field, from, ...(r.unit ? { unit: r.unit } : {}), ...(r.values?.length ? { values: r.values } : {}) }))
  const where = new Map<string, string[]>()
  for (const w of p.where) if (w.column) where.set(w.column, [...where.get(w.column) ?? [], w.value])
  const place = s.format === 'csv' ? p.wkt ? { wkt: p.wkt } : p.longitude ? { longitude: p.longitude, latitude: p.latitude } : {} : {}
  const isNew = p.site.startsWith(newSite)
  return {
    as: p.as, site: p.site.replace(newSite, ''), ...(isNew ? { time_zone: p.timeZone } : {}), ...place, max_km: Number(p.maxKM), ...(p.layer ? { layer: p.layer } : {}),
    mapping: [...rules, ...p.values.filter((v) => v.value.trim()).map((v) => ({ field: v.field, value: v.value.trim() }))],
    where: [...where].map(([column, values]) => ({ column, values })),
  }
}
