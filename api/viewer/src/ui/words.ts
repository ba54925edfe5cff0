// Words and figures as they are shown.

export const kinds = ['parking', 'walkway', 'road', 'building', 'playground', 'seating', 'transit_stop', 'plaza', 'utility_line', 'other'] as const
export const cuts = ['topping', 'heading', 'lion-tailing', 'flush', 'stub', 'removal', 'reduction'] as const

export const word = (s: string) => s.replaceAll('_', ' ')

export const orders = [['harm', 'expected harm'], ['exposure', 'people beneath'], ['rating', 'rating']] as const

// figure keeps two or three digits that count.
export function figure(v: number | null | undefined): string {
  if (v === null || v === undefined || !Number.isFinite(v)) return '–'
  if (v === 0) return '0'
  const size = Math.abs(v)
  if (size >= 100) return Math.round(v).toLocaleString('en')
  if (size >= 1) return v.toFixed(1)
  return size < 1e-4 ? v.toExponential(1) : String(Number(v.toPrecision(2)))
}

// exact keeps what the service gives, for sums that are to be done again.
export const exact = (n: number) => n.toLocaleString('en', { maximumSignificantDigits: 5 })

export const count = (n: number) => n.toLocaleString('en')

export const plural = (n: number, one: string, many: string) => `${count(n)} ${n === 1 ? one : many}`

const days = ['Monday', 'Tuesday', 'Wednesday', 'Thursday', 'Friday', 'Saturday', 'Sunday']

// hourName names an hour of the week, 0 = Monday 00:00.
export const hourName = (h: number, short = false) => {
  const day = days[Math.floor(h / 24) % 7]!
  return `${short ? day.slice(0, 3) : day} ${String(h % 24).padStart(2, '0')}:00`
}

export const dayNames = days

export const nameOf = (t: { tag: string | null; source_id: string | null }, id: number) => t.tag || t.source_id || `#${id}`
