import type { Geometry, Position } from 'geojson'

// Shapes by their corners. None of these changes what it is given.

export interface Corner { part: number; i: number; at: [number, number] }

// A part is a list of positions; a ring's last is its first again. least is how many
// it keeps.
interface Part { list: Position[]; ring: boolean; least: number; linked: boolean }

const part = (list: Position[], kind: string): Part => ({ list, ring: kind === 'Polygon', least: kind === 'Polygon' ? 4 : kind === 'LineString' ? 2 : 1, linked: kind !== 'Point' })

function parts(g: Geometry): Part[] {
  switch (g.type) {
    case 'Point': return [part([g.coordinates], 'Point')]
    case 'MultiPoint': return g.coordinates.length ? [part(g.coordinates, 'Point')] : []
    case 'LineString': return [part(g.coordinates, 'LineString')]
    case 'MultiLineString': return g.coordinates.map((l) => part(l, 'LineString'))
    case 'Polygon': return g.coordinates.map((r) => part(r, 'Polygon'))
    case 'MultiPolygon': return g.coordinates.flat().map((r) => part(r, 'Polygon'))
    case 'GeometryCollection': return g.geometries.flatMap(parts)
  }
}

const pair = (p: Position): [number, number] => [p[0]!, p[1]!]

export const cornersOf = (g: Geometry | null): Corner[] => !g ? [] : parts(g).flatMap((p, k) => p.list.slice(0, p.ring ? -1 : undefined).map((at, i) => ({ part: k, i, at: pair(at) })))

// middlesOf are the places between corners where a new one can be put.
export const middlesOf = (g: Geometry | null): Corner[] => !g ? [] : parts(g).flatMap((p, k) => !p.linked ? [] : p.list.slice(1).map((b, i) => {
  const a = p.list[i]!
  return { part: k, i, at: [(a[0]! + b[0]!) / 2, (a[1]! + b[1]!) / 2] as [number, number] }
}))

// place rounds to the digits that the service serves.
export const place = ([lon, lat]: readonly [number, number]): [number, number] => [Number(lon.toFixed(7)), Number(lat.toFixed(7))]

function changed<G extends Geometry>(g: G, fn: (list: Part[]) => void): G {
  const copy = structuredClone(g)
  fn(parts(copy))
  return copy
}

export const moveCorner = (g: Geometry, c: Corner, to: readonly [number, number]) => changed(g, (list) => {
  const p = list[c.part]!
  p.list[c.i]!.splice(0, 2, ...place(to))
  if (p.ring && c.i === 0) p.list.at(-1)!.splice(0, 2, ...place(to))
})

export const addCorner = (g: Geometry, after: Corner, at: readonly [number, number]) => changed(g, (list) => { list[after.part]!.list.splice(after.i + 1, 0, place(at)) })

export const canTake = (g: Geometry, c: Corner) => { const p = parts(g)[c.part]!; return p.list.length > p.least }

export const takeCorner = (g: Geometry, c: Corner) => changed(g, (list) => {
  const p = list[c.part]!
  p.list.splice(c.i, 1)
  if (p.ring && c.i === 0) p.list.splice(-1, 1, [...p.list[0]!])
})

// shift moves a place by metres to the east and to the north, on a sphere of the
// earth's mean radius (6,371,009 m, IUGG).
export function shift([lon, lat]: readonly [number, number], east: number, north: number): [number, number] {
  const degree = 6_371_009 * Math.PI / 180
  return place([lon + east / (degree * Math.cos(lat * Math.PI / 180)), lat + north / degree])
}

// saysShape tells a shape in words.
export function saysShape(g: Geometry | null): string {
  if (!g) return 'nowhere'
  if (g.type === 'Point') return `${g.coordinates[0]!.toFixed(6)}, ${g.coordinates[1]!.toFixed(6)}`
  const names: Record<string, string> = { MultiPoint: 'points', LineString: 'line', MultiLineString: 'lines', Polygon: 'area', MultiPolygon: 'areas', GeometryCollection: 'shapes' }
  return `${names[g.type]} of ${cornersOf(g).length} corners`
}
