// The whole state of the page as the query of its address, both ways: a link
// reproduces what its sender saw.

export type Ring = [number, number][] // longitude, latitude; not closed

export type Inside = { kind: 'site' } | { kind: 'box'; box: [number, number, number, number] } | { kind: 'area'; ring: Ring }

export type Order = 'harm' | 'exposure' | 'rating'

// Question is what is asked of the trees of a site.
export interface Question {
  over: string[] // kinds of target, any of them
  cuts: string[] // kinds of cut, any of them
  since: number | null // topped in this year or later
  seenBefore: string // no visit since this day
  inside: Inside
  filter: string // CQL2 that is asked besides
  by: Order
}

export interface Camera { lon: number; lat: number; zoom: number }

export interface State {
  view: string
  site: string
  question: Question
  asOf: string
  tree: number | null
  camera: Camera | null
  hour: number | null // of the week, 0 = Monday 00:00
  more: Record<string, string> // what other views keep, by names with a dot: 'work.year'
}

export const emptyQuestion: Question = { over: [], cuts: [], since: null, seenBefore: '', inside: { kind: 'site' }, filter: '', by: 'harm' }

const list = (v: string | null) => (v ?? '').split(',').filter(Boolean)
const whole = (v: string | null, least: number, most: number) => {
  const n = v && /^\d{1,15}$/.test(v) ? Number(v) : NaN
  return n >= least && n <= most ? n : null
}
const numbers = (v: string | null) => (v ?? '').split(/[,;]/).map((n) => n.trim() === '' ? NaN : Number(n))

function readInside(q: URLSearchParams): Inside {
  const box = numbers(q.get('box'))
  if (box.length === 4 && box.every(Number.isFinite)) return { kind: 'box', box: box as [number, number, number, number] }
  const flat = numbers(q.get('area'))
  if (flat.length >= 6 && flat.length % 2 === 0 && flat.every(Number.isFinite)) {
    const ring: Ring = []
    for (let i = 0; i < flat.length; i += 2) ring.push([flat[i]!, flat[i + 1]!])
    return { kind: 'area', ring }
  }
  return { kind: 'site' }
}

function readCamera(v: string | null): Camera | null {
  const [lon, lat, zoom] = numbers(v)
  if (![lon, lat, zoom].every(Number.isFinite) || Math.abs(lat!) > 90 || Math.abs(lon!) > 180) return null
  return { lon: lon!, lat: lat!, zoom: Math.min(Math.max(zoom!, 0), 22) }
}

// readAddress never fails: what it cannot read is as if it were not there.
export function readAddress(search: string): State {
  const q = new URLSearchParams(search)
  const by = q.get('by')
  const day = /^\d{4}-\d{2}-\d{2}$/
  const more: Record<string, string> = {}
  for (const [name, v] of q) if (name.includes('.')) more[name] = v
  return {
    view: q.get('v') ?? 'ask',
    site: q.get('site') ?? '',
    question: {
      over: list(q.get('over')), cuts: list(q.get('cut')), since: whole(q.get('since'), 1000, 2999),
      seenBefore: day.test(q.get('seen') ?? '') ? q.get('seen')! : '',
      inside: readInside(q), filter: q.get('filter') ?? '', by: by === 'exposure' || by === 'rating' ? by : 'harm',
    },
    asOf: q.get('as_of') ?? '',
    tree: whole(q.get('tree'), 0, 2 ** 53),
    camera: readCamera(q.get('at')),
    hour: whole(q.get('hour'), 0, 167),
    more,
  }
}

const degrees = (n: number) => String(Number(n.toFixed(6)))

// writeAddress leaves out what is as it opens.
export function writeAddress(s: State): string {
  const q = new URLSearchParams()
  const set = (name: string, v: string | number | null) => { if (v !== '' && v !== null) q.set(name, String(v)) }
  set('v', s.view === 'ask' ? '' : s.view)
  set('site', s.site)
  set('over', s.question.over.join(','))
  set('cut', s.question.cuts.join(','))
  set('since', s.question.since)
  set('seen', s.question.seenBefore)
  if (s.question.inside.kind === 'box') set('box', s.question.inside.box.map(degrees).join(','))
  if (s.question.inside.kind === 'area') set('area', s.question.inside.ring.map((p) => p.map(degrees).join(',')).join(';'))
  set('filter', s.question.filter)
  set('by', s.question.by === 'harm' ? '' : s.question.by)
  set('as_of', s.asOf)
  set('tree', s.tree)
  if (s.camera) set('at', `${s.camera.lon.toFixed(5)},${s.camera.lat.toFixed(5)},${s.camera.zoom.toFixed(2)}`)
  set('hour', s.hour)
  for (const [name, v] of Object.entries(s.more)) set(name, v)
  const text = q.toString().replaceAll('%2C', ',').replaceAll('%3B', ';').replaceAll('%3A', ':')
  return text ? '?' + text : ''
}
