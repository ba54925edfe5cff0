// The question in CQL2 text (OGC 21-065r2), as the service, any other client and
// the map's tiles take it.

import type { Inside, Question } from '../state/address'

const text = (s: string) => `'${s.replaceAll("'", "''")}'`
const array = (list: readonly string[]) => `(${list.map(text).join(', ')})`
const degrees = (n: number) => String(Number(n.toFixed(6)))

// Stumps, and trees that are gone, drop nothing.
export const standing = "status IN ('alive', 'dead')"

export function insideCQL(inside: Inside): string {
  switch (inside.kind) {
    case 'site': return ''
    case 'box': return `S_INTERSECTS(geometry, BBOX(${inside.box.map(degrees).join(', ')}))`
    case 'area': {
      const ring = [...inside.ring, inside.ring[0]!]
      return `S_INTERSECTS(geometry, POLYGON((${ring.map((p) => p.map(degrees).join(' ')).join(', ')})))`
    }
  }
}

// conditions are the parts of the question that are asked, each by itself.
export function conditions(q: Question): string[] {
  return [
    q.over.length ? `A_OVERLAPS(over, ${array(q.over)})` : '',
    q.cuts.length ? `A_OVERLAPS(cut_kinds, ${array(q.cuts)})` : '',
    q.since ? `last_topped >= ${q.since}` : '',
    q.seenBefore ? `(last_visit < DATE('${q.seenBefore}') OR last_visit IS NULL)` : '',
    insideCQL(q.inside),
    q.filter.trim() ? `(${q.filter.trim()})` : '',
  ].filter(Boolean)
}

// filterOf is the question without its site, which goes as a parameter of its own
// to the tiles.
export const filterOf = (q: Question) => [standing, ...conditions(q)].join(' AND ')

// cqlOf is the whole question, to be copied.
export const cqlOf = (q: Question, site: string) => [site ? `site = ${text(site)}` : '', filterOf(q)].filter(Boolean).join(' AND ')
