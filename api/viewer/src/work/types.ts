import type { Link } from '../service'

// What the service says of programmes and jobs, as far as it is shown here.

export interface Year {
  year: number; trees: number; visits: number; packages: number; crew_hours: number; cost: number; setup_hours: number; setup_cost: number
  budget: number; committed: number; used: number; left: number
  harm_index_before: number; harm_index_left: number; harm_index_left_worst_first: number; harm_index_left_flat_cycle: number
}

export interface Pin { tag: string; year: number }

export interface Programme {
  programme_id: number; site: string; name: string; trees: number; planned: number; left: string[] | null; late: string[] | null; years: Year[]
  question: { from: string; years: number; measure: 'money' | 'hours'; budget: number[]; must: string[] | null; must_due: number; pins: Pin[] | null; cycle: number; least_harm: number; must_rating: string }
  harm_index_taken_off: number; gap_share: number; currency: string; as_of: string; made_by: string; proposed_at: string | null; notes: string[] | null
  cycles_note: string; lasts_years: number; assumption: string
}

export interface PlannedVisit { number: number; year: number; dose: number; hours: number; cost: number; takes_off: number }

export interface Item {
  tree_id: number; tag: string; species: string; package: string; work: string; harm_index: number; place: number
  first_year: number | null; must: boolean; late: boolean; visits: PlannedVisit[]; why: string
}

export interface Page { links: Link[] }

export const states = ['proposed', 'approved', 'in hand', 'done', 'checked', 'withdrawn'] as const

export interface Gate { name: string; why: string; cleared: boolean; by?: string; on?: string; reference?: string }
export interface Defect { cut: number; rule: string; what: string }
// Lengths of a completion that was kept are in metres.
export interface Completion {
  on: string; by: string; note?: string; dose?: number; hours?: number; removed?: boolean; finished?: boolean
  cuts: { kind: string; count?: number; diameter_m?: number; stub_length_m?: number; lateral_diameter_m?: number; height_m?: number; bearing_deg?: number; reach_m?: number; regrowth_left_m?: number; on_cut?: number; gone?: boolean }[] | null
  height_m?: number; crown_radius_m?: number; notices?: string[]
  position?: { longitude: number; latitude: number; accuracy_m: number; at: string; from_tree_m?: number }
  deviations?: { what: string; reason: string }[]; defects?: Defect[]; earlier?: Completion[]
}
export interface SpecifiedVisit { number: number; goal: string; dose: number; after_years: number; items: { cut?: string; text: string; place: string }[] | null }

export interface Job {
  job_id: number; site: string; tree_id: number; tag: string; programme_id: number | null; visit: number; year: number; package: string; work: string; state: string
  next_states: string[]; must: boolean; urgent: boolean; tree_status: string; crew_hours: number; cost: number; dose: number; open_days: string; quietest: string; version: number
  harm_index_before: number; harm_index_predicted: number; harm_index_after: number | null; changed_at: string; changed_by: string
  specification: { objective: string; stop: string; not: string[]; visits: SpecifiedVisit[] } | null
  gates: Gate[]; completion: Completion | null; standing_defects: Defect[] | null
  steps: { at: string; by: string; from: string; to: string; reason: string }[]
  photos: { photo_id: number; name: string; at: string; by: string }[] | null
}
