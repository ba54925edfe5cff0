// How things look: one ramp for rank that differs in lightness, so that it
// reads without colour, and a plain drawing for each kind of target.

const dark = matchMedia('(prefers-color-scheme: dark)')

// From the foot of the list to its head.
const ramps = {
  light: ['#aebfc9', '#7fa3b8', '#4f82a6', '#2b5b8c', '#14305f'],
  dark: ['#48606e', '#5c8598', '#7db0bf', '#b3d6d5', '#f4f0c6'],
}

const inks = {
  light: { edge: '#fbfaf6', chosen: '#b4480f', zone: '#8a3a10', solid: '#8d8577', soft: '#cdc6b6', line: '#a79f8d', walk: '#8a8271', water: '#5f6f7c' },
  dark: { edge: '#12171c', chosen: '#ffb27a', zone: '#f0a36b', solid: '#5d6470', soft: '#333c46', line: '#4a5460', walk: '#7b8590', water: '#8fa3b3' },
}

export const ink = () => inks[dark.matches ? 'dark' : 'light']

export const onThemeChange = (fn) => dark.addEventListener('change', fn)

// shade and size of rank i of n, from 0.
export function ranked(i, n) {
  const ramp = ramps[dark.matches ? 'dark' : 'light']
  const height = n > 1 ? 1 - i / (n - 1) : 1
  return { fill: ramp[Math.min(Math.floor(height * ramp.length), ramp.length - 1)], size: 6 + 8 * height ** 2 }
}

export const steps = () => ramps[dark.matches ? 'dark' : 'light']

// kinds of target, in words and in lines.
export const kinds = ['parking', 'walkway', 'road', 'building', 'playground', 'seating', 'transit_stop', 'plaza', 'utility_line', 'other']

export const word = (kind) => kind.replaceAll('_', ' ')

export function target(kind) {
  const c = ink()
  const plain = { color: c.line, weight: 1, opacity: 1, fillColor: c.soft, fillOpacity: 0.55, dashArray: null }
  switch (kind) {
    case 'parking': return { ...plain, color: c.solid, weight: 1.5, dashArray: '6 2', fillOpacity: 0.9 }
    case 'walkway': return { ...plain, color: c.walk, weight: 2, dashArray: '1 4', lineCap: 'round' }
    case 'road': return { ...plain, color: c.line, weight: 3, fillOpacity: 0.35 }
    case 'building': return { ...plain, color: c.solid, fillColor: c.solid, fillOpacity: 0.7 }
    case 'utility_line': return { ...plain, color: c.water, weight: 1.5, dashArray: '8 3 1 3' }
    default: return { ...plain, dashArray: '3 3' }
  }
}

// zone of a part of the tree that is looked at.
export function zone(part) {
  const c = ink()
  const line = { color: c.zone, weight: 1.5, fill: false, interactive: false }
  switch (part) {
    case 'whole tree': return { ...line, dashArray: '2 6', weight: 1.5 }
    case 'crown': return line
    default: return { ...line, fill: true, fillColor: c.zone, fillOpacity: 0.28 }
  }
}
