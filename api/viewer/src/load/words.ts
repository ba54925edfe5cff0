import { word } from '../ui/words'
import type { FieldSpec } from './types'

export const roleWords: Record<string, string> = {
  trees: 'trees', targets: 'places where people are (targets)', cuts: 'cuts on trees', visits: 'visits to trees', counts: 'counts of people or vehicles', crowns: 'outlines of crowns',
}

const said: Record<string, string> = {
  source_id: 'id in the source', dbh: 'stem diameter at breast height', tree_source_id: 'id of the tree', tree_tag: 'tag of the tree', target_source_id: 'id of the place', target_name: 'name of the place', target_layer: 'layer of the place',
  crown_n: 'crown to the north', crown_e: 'crown to the east', crown_s: 'crown to the south', crown_w: 'crown to the west', what: 'what was counted',
}
export const fieldWord = (name: string) => said[name] ?? word(name)

const unitWords: Record<string, string> = { '1': 'share, 0 to 1', 'cm-girth': 'cm, girth', 'in-girth': 'in, girth', 'm-girth': 'm, girth', 'mm-girth': 'mm, girth', deg: 'degrees' }
export const unitWord = (u: string) => unitWords[u] ?? u

export const sizeOf = (bytes: number) => bytes < 1e3 ? `${bytes} bytes` : bytes < 1e6 ? `${(bytes / 1e3).toFixed(1)} kB` : `${(bytes / 1e6).toFixed(1)} MB`

// fault says why a value does not read as a field's; the service looks closer.
export function fault(f: FieldSpec, v: string): string {
  const t = v.trim()
  if (/^(|--?|n\/?a|null|none|unknown)$/i.test(t)) return '' // which stand for no value
  switch (f.quantity) {
    case 'length': case 'number': case 'whole number': case 'share': case 'speed': case 'angle':
      return /^[-+]?[\d.,'’\s]*\d/.test(t) ? '' : `“${v}” is no number`
    case 'year': return /\d{4}/.test(t) ? '' : `“${v}” is no year`
    case 'year, or yes': return /\d{4}|^(y|yes|true|n|no|false|0|1)$/i.test(t) ? '' : `“${v}” is neither a year nor yes`
    case 'day': return /\d{4}|\d+[./-]\d+[./-]\d+/.test(t) ? '' : `“${v}” is no day`
    case 'one of its words': return f.choices.includes(t.toLowerCase().replace(/[\s-]+/g, '_')) || f.choices.includes(t.toLowerCase()) ? '' : `“${v}” is none of ${f.choices.map(word).join(', ')}`
  }
  return ''
}
