import type { Geometry, Point } from 'geojson'
import type { Link } from './client'

// The shapes of answers, as far as the page reads them. Names are the service's.

export type Feature<P, G = Geometry> = { type: 'Feature'; id: number; geometry: G; properties: P }

export interface Page<P, G = Geometry> {
  features: Feature<P, G>[]
  links: Link[]
  numberMatched?: number // left out beyond 10,000 of a filtered collection, but for ranked trees
  numberReturned: number
}

export type Likelihood = 'improbable' | 'possible' | 'probable' | 'imminent'
export type Rating = 'low' | 'moderate' | 'high' | 'extreme'
export type PartName = 'whole tree' | 'crown' | 'limb'

export interface SiteProps { name: string; time_zone: string; epsg: number | null; computed_at: string | null; profile: string | null; version: number }

export interface TreeProps {
  site: string; tag: string | null; source_id: string | null; species: string | null; common_name: string | null; status: string
  dbh_cm: number | null; stems: number | null; height_m: number | null; crown_radius_m: number | null
  height_from: string | null; crown_radius_from: string | null; condition: string | null; planted_year: number | null
  lean_deg: number | null; lean_bearing_deg: number | null; brittle: boolean | null
  cut_kinds: string[]; last_topped: number | null; regrowth_m: number | null; last_visit: string | null; next_visit: string | null
  over: string[] | null; over_length_m: number | null; over_area_m2: number | null; within: string[] | null
  people: number | null; vehicles: number | null; person_hours_year: number | null; busiest_people: number | null; busiest_hour: number | null
  likelihood: Likelihood | null; inferred: boolean | null; rule: string | null; harm_index: number | null; rank: number | null; rating: Rating | null
  version: number; changed_at: string
}

export interface CutProps {
  tree_id: number; tag: string | null; kind: string; given_kind: string | null; made_year: number | null; made_on: string | null; count: number | null
  diameter_cm: number | null; lateral_diameter_cm: number | null; height_m: number | null; bearing_deg: number | null; reach_m: number | null
  stub_length_m: number | null; bare_share: number | null; closure: number | null; decay: boolean | null
  regrowth_length_m: number | null; regrowth_count: number | null; regrowth_diameter_cm: number | null
  gone_on: string | null; job_id: number | null; version: number; changed_at: string
}

export interface VisitProps {
  tree_id: number; tag: string | null; visited_on: string; visited_by: string | null; condition: string | null
  whole_tree: Likelihood | null; crown: Likelihood | null; limb: Likelihood | null; note: string | null; next_visit_on: string | null
  stem_diameter_cm: number | null; decay_diameter_cm: number | null; sound_wall_cm: number | null; opening_share: number | null
  job_id: number | null; version: number; changed_at: string
}

export interface ZoneProps {
  tree_id: number; tag: string | null; part: PartName; cut_id: number | null; radius_m: number; bearing_deg: number | null; width_deg: number
  height_estimated: boolean; crown_radius_estimated: boolean; likelihood: Likelihood | null; inferred: boolean | null; rule: string | null
}

export interface OverlapTarget {
  target_id: number; source_id: string | null; kind: string; name: string | null
  area_m2: number; length_m: number; points: number; people: number; people_sheltered: number; vehicles: number
}

export interface ExplainedPart {
  part: PartName; cut_id?: number | null; zone: string; zone_radius_m: number; likelihood: Likelihood; inferred: boolean; rule: string | null; stale: boolean; why: string
  chance: number; share_struck: number; people: number; people_in_vehicles: number; people_sheltered: number; vehicles: number
  busiest_people: number; busiest_hour: number; occupied_share: number; harm_people_index: number; harm_property_index: number
  windy_people_open: number; windy_people_in_vehicles: number; windy_people_sheltered: number; windy_vehicles: number
  vehicles_meeting: number; people_meeting: number
  rating_people: Rating; rating_property: Rating; rating_busiest_hour: Rating; targets: OverlapTarget[]
}

// DoneWork is what a job took off a tree's harm.
export interface DoneWork {
  job_id: number; work: string; visit: number; state: string; done_on: string; done_by: string | null
  harm_index_before: number; harm_index_predicted: number; harm_index_after: number | null
}

export interface Explanation {
  site: string; tree_id: number; tag: string | null; source_id: string | null; species: string | null; longitude: number; latitude: number
  reason: string; height_m: number; height_se_m: number; height_from: string; crown_radius_m: number; crown_radius_se_m: number; crown_radius_from: string
  harm_index: number; harm_people_index: number; harm_property_index: number; rating: Rating; rating_people: Rating; rating_property: Rating
  weight_in_vehicle: number; weight_sheltered: number; weight_property: number; chance_over: string
  parts: ExplainedPart[]; work: DoneWork[]; profile: string; profile_digest: string; as_of: string; slope: string; cautions: string
}

export interface Week {
  site: string; time_zone: string; tree_id: number; part: PartName
  people_in_the_open: number[]; people_in_vehicles: number[]; people_sheltered: number[]; vehicles: number[]
  peak: { people: number; hour: number; name: string }; busiest: { people: number; hour: number; name: string }
  occupied_share: number; quietest: { hour: number; name: string; until: string; hours: number; person_hours: number } | null
  note: string; profile: string; as_of: string
}

// SharedWeek is a week as persons who keep some of an answer's weeks: in hour h
// there are the sum of persons[i] × weeks[weeks[i]].factors[h].
export interface SharedWeek { people: number; weeks: number[]; persons: number[] }

export interface Weeks {
  weeks: { name: string | null; counted_at: number | null; factors: number[] }[]; more: boolean
  trees?: (SharedWeek & { tree_id: number; tag: string | null; part: PartName })[]
  places?: (SharedWeek & { target_id: number })[]
  profile: string; as_of: string; note: string
}

export interface OpenedPlace {
  target_id: number; site: string; time_zone: string; kind: string; name: string | null; source_id: string | null; longitude: number; latitude: number
  people_in_the_open: number[]; people_in_vehicles: number[]; peak: { people: number; hour: number; name: string }; worst_hours: string[]
  mean: { people_in_the_open: number; people_in_vehicles: number; people_sheltered: number; vehicles: number }; occupied_share: number
  harm_index: number; trees_over: number; trees_in_reach: number; trees: PlaceTree[]; profile: string; as_of: string; note: string
}

export interface PlaceTree {
  tree_id: number; tag: string | null; source_id: string | null; species: string | null; status: string; longitude: number; latitude: number; harm_index: number; over: boolean
  parts: {
    part: PartName; cut_id: number | null; likelihood: Likelihood; inferred: boolean; rule: string | null; area_m2: number; length_m: number; points: number
    people: number; people_sheltered: number; vehicles: number; harm_index: number
  }[]
}

export interface PlaceProps {
  target_id: number; kind: string; name: string | null; source_id: string | null
  people: number; people_in_vehicles: number; people_sheltered: number; vehicles: number; busiest_people: number; busiest_hour: number
  trees_over: number; trees_in_reach: number; covered: boolean; harm_index: number; tree_tags: string[]; tree_ids: number[]; tree_harm_index: number[]
}

export interface RankedProps {
  rank: number; tag: string | null; source_id: string | null; species: string | null; common_name: string | null; harm_index: number; reason: string
  rank_low: number | null; rank_high: number | null; top_share: number | null; likelihood: Likelihood; inferred: boolean; rule: string | null
  people: number; vehicles: number; person_hours_year: number; over: string[]; over_length_m: number[]; over_area_m2: number[]; over_points: number[]
}

export interface SavedQuestion { name: string; title: string; collection: string; filter: string; changed_at: string; changed_by: string }

export interface Programme {
  programme_id: number; site: string; name: string; trees: number; planned: number
  years: { year: number; trees: number; packages: number; crew_hours: number; cost: number; budget: number; used: number; harm_index_before: number; harm_index_left: number }[]
}

export interface Job {
  job_id: number; site: string; tree_id: number; tag: string | null; programme_id: number | null; visit: number; year: number; package: string; work: string; state: string
  next_states: string[]; must: boolean; crew_hours: number; cost: number; dose: number; open_days: string; quietest: string; version: number
  harm_index_before: number; harm_index_predicted: number | null; harm_index_after: number | null
  gates: { name: string; why: string; cleared: boolean }[]; steps: { at: string; by: string; from: string; to: string; reason: string }[]
}

export type TreePoint = Feature<TreeProps, Point>
