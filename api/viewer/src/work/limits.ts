import type { Cut, Draft } from '../field/store'

// What a completion's figures may be, as the service says (checkCompletion), in the
// units of the form: the least, the most; the least itself is not taken where it is
// "above". A service that was sent another figure says so all the same.
type Limit = readonly [name: string, least: number, most: number, unit: string, how?: 'above' | 'whole' | 'below']

export const ofDraft = {
  hours: ['Crew-hours spent', 0, 10_000, 'crew-hours'], dose: ['Live crown taken', 0, 100, '%'],
  height_m: ['Height after the work', 0, 130, 'm', 'above'], crown_radius_m: ['Crown radius after it', 0, 50, 'm', 'above'],
} as const satisfies Partial<Record<keyof Draft, Limit>>

export const ofCut = {
  diameter_cm: ['Diameter', 0, 1500, 'cm', 'above'], lateral_diameter_cm: ['Lateral cut to', 0, 1500, 'cm'], stub_length_cm: ['Stub left', 0, 5000, 'cm'],
  count: ['How many', 1, 10_000, '', 'whole'], height_m: ['Height above ground', 0, 130, 'm'], bearing_deg: ['Bearing from the stem', 0, 360, '°', 'below'],
  reach_m: ['Reach from the stem', 0, 100, 'm'], regrowth_left_m: ['Longest shoot left there', 0, 130, 'm'],
} as const satisfies Partial<Record<keyof Cut, Limit>>

// labelOf is a field's name with its unit.
export const labelOf = ([name, , , unit]: Limit) => name + (unit && unit !== 'crew-hours' ? `, ${unit}` : '')

// number reads what was typed, with a point or a comma; empty is left out.
export const number = (text: string) => text.trim() === '' ? undefined : Number(text.trim().replace(',', '.'))

// outside says what is expected where what was typed cannot be.
export function outside([name, least, most, unit, how]: Limit, text: string): string {
  const n = number(text)
  if (n === undefined || n >= least && n <= most && !(how === 'above' && n === least) && !(how === 'below' && n === most) && !(how === 'whole' && n % 1)) return ''
  return `${name}: ${how === 'above' ? 'above ' : ''}${least} ${how === 'above' || how === 'below' ? 'up' : ''} to ${most}${unit && ' ' + unit}${how === 'whole' ? ', a whole number' : ''}`.replace('  ', ' ')
}

// readable names the fields of a refusal as the form does.
export const readable = (said: string) => said.replace(/\b(?:cuts\[(\d+)\]\.)?([a-z_]+): /g, (all, k: string | undefined, of: string) => {
  const limit = (k === undefined ? ofDraft : ofCut) as Record<string, Limit>
  return limit[of] ? `${k === undefined ? '' : `cut ${Number(k) + 1}, `}${limit[of][0]}: ` : all
})
