import { get } from '../service'

// What can be edited of a collection, and within which limits: the service's own
// schema says it, and nothing is written a second time here.

export const collections = ['trees', 'targets', 'cuts', 'visits'] as const
export type Collection = (typeof collections)[number]
export const oneOf: Record<Collection, string> = { trees: 'tree', targets: 'place', cuts: 'cut', visits: 'visit' }
export const isCollection = (c: string | undefined): c is Collection => collections.some((k) => k === c)

interface Property {
  title: string; description?: string; type?: string; format?: string; enum?: string[]; readOnly?: boolean; default?: string
  minimum?: number; maximum?: number; exclusiveMinimum?: number; exclusiveMaximum?: number
}

export interface Spec extends Property { name: string; required: boolean }

const known = new Map<Collection, Promise<Spec[]>>()

// specsOf asks once for the fields of a collection.
export function specsOf(c: Collection): Promise<Spec[]> {
  let asked = known.get(c)
  if (!asked) {
    asked = get<{ properties: Record<string, Property>; required?: string[] }>(`/collections/${c}/schema`).then((s) =>
      Object.entries(s.properties).filter(([name, p]) => !p.readOnly && name !== 'geometry')
        .map(([name, p]) => ({ ...p, name, required: !!s.required?.includes(name) })))
    asked.catch(() => known.delete(c))
    known.set(c, asked)
  }
  return asked
}

export type Value = string | number | boolean | object | null

export const textOf = (v: unknown) => v === null || v === undefined ? '' : typeof v === 'object' ? JSON.stringify(v) : String(v)

// rangeOf says in words what a figure must lie between.
export function rangeOf(s: Spec): string {
  const n = (v: number) => Math.abs(v) < 1e6 ? String(v) : v.toLocaleString('en')
  const low = s.exclusiveMinimum !== undefined ? `above ${n(s.exclusiveMinimum)}` : s.minimum !== undefined ? `at least ${n(s.minimum)}` : ''
  const high = s.exclusiveMaximum !== undefined ? `below ${n(s.exclusiveMaximum)}` : s.maximum !== undefined ? `at most ${n(s.maximum)}` : ''
  return [low, high].filter(Boolean).join(' and ')
}

// readField reads what was typed into a field, or says what is wrong with it.
export function readField(s: Spec, text: string): { value: Value; fault: string } {
  const wrong = (expected: string) => ({ value: null, fault: `${s.title} is ${text.length > 40 ? 'this' : text}: expected ${expected}` })
  const given = text.trim()
  if (given === '') return { value: null, fault: s.required ? `${s.title} is empty: expected ${s.enum ? 'one of ' + s.enum.join(', ') : s.format === 'date' ? 'a day' : s.type === 'integer' ? 'a whole number' : 'something'}` : '' }
  if (s.enum) return s.enum.includes(given) ? { value: given, fault: '' } : wrong('one of ' + s.enum.join(', '))
  switch (s.type) {
    case 'integer':
    case 'number': {
      const n = /^[-+]?(\d+[.,]?\d*|[.,]\d+)$/.test(given) ? Number(given.replace(',', '.')) : NaN
      const of = s.type === 'integer' ? 'a whole number' : 'a number'
      const range = rangeOf(s)
      const fits = n > (s.exclusiveMinimum ?? -Infinity) && n >= (s.minimum ?? -Infinity) && n < (s.exclusiveMaximum ?? Infinity) && n <= (s.maximum ?? Infinity)
      if (!Number.isFinite(n) || s.type === 'integer' && !Number.isSafeInteger(n) || !fits) return wrong(Number.isFinite(n) && !fits ? range : range ? `${of}, ${range}` : of)
      return { value: n, fault: '' }
    }
    case 'boolean':
      return { value: given === 'true', fault: '' }
    case 'object':
      try {
        const o: unknown = JSON.parse(given)
        if (o && typeof o === 'object' && !Array.isArray(o)) return { value: o, fault: '' }
      } catch { /* it is no JSON */ }
      return wrong('a JSON object such as {"bed": 4}')
  }
  if (s.format === 'date' && !(/^\d{4}-\d{2}-\d{2}$/.test(given) && !Number.isNaN(Date.parse(given)))) return wrong('a day such as 2024-05-01')
  return { value: given, fault: '' }
}
