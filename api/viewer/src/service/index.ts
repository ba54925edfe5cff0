import type { Geometry, Point } from 'geojson'
import { get, nextOf, send, takes, type Parameters } from './client'
import type * as t from './types'

export * from './client'
export type * from './types'

// mayEdit asks what the service allows.
export const mayEdit = (signal?: AbortSignal) => takes('/collections/trees/items', signal)

// items asks one page of a collection.
export const items = <P, G = Geometry>(collection: string, parameters: Parameters, signal?: AbortSignal) =>
  get<t.Page<P, G>>(`/collections/${encodeURIComponent(collection)}/items`, parameters, signal)

// allItems gathers pages, at the most so many features; whole tells whether that is all.
export async function allItems<P, G = Geometry>(collection: string, parameters: Parameters, most: number, signal?: AbortSignal) {
  const features: t.Feature<P, G>[] = []
  let asked: Parameters | null = { limit: Math.min(most, 1000), ...parameters }
  while (asked && features.length < most) {
    const page: t.Page<P, G> = await items<P, G>(collection, asked, signal)
    features.push(...page.features)
    asked = nextOf(page)
  }
  return { features, whole: !asked }
}

// item asks one feature, with the ETag that an edit of it names in If-Match.
export const item = <P, G = Geometry>(collection: string, id: number, parameters: Parameters = {}, signal?: AbortSignal) =>
  send<t.Feature<P, G>>(`/collections/${collection}/items/${id}`, parameters, signal ? { signal } : {})

export const sites = (signal?: AbortSignal) => items<t.SiteProps>('sites', { limit: 1000 }, signal)
export const tree = (id: number, asOf: string, signal?: AbortSignal) => item<t.TreeProps, Point>('trees', id, { as_of: asOf }, signal)
export const ofTree = <P>(collection: string, tree: number, asOf: string, signal?: AbortSignal) =>
  allItems<P>(collection, { tree_id: tree, as_of: asOf }, 1000, signal)

// explain and hours ask by a tree's tag or source id.
export const explain = (site: string, tag: string, asOf: string, signal?: AbortSignal) =>
  get<t.Explanation>('/explain', { site, tag, as_of: asOf }, signal)
export const hours = (site: string, tag: string, asOf: string, more: Parameters = {}, signal?: AbortSignal) =>
  get<t.Week>('/hours', { site, tag, as_of: asOf, ...more }, signal)

export const ranking = (parameters: Parameters, signal?: AbortSignal) => get<t.Page<t.RankedProps, Point>>('/ranking', parameters, signal)
export const places = (parameters: Parameters, signal?: AbortSignal) =>
  get<t.Page<t.PlaceProps, Point>>('/places', { f: 'geojson', ...parameters }, signal)

export const place = (id: number, asOf: string, signal?: AbortSignal) => get<t.OpenedPlace>(`/places/${id}`, { as_of: asOf }, signal)
export const treeWeeks = (parameters: Parameters, signal?: AbortSignal) => get<t.Weeks>('/hours/trees', parameters, signal)
export const placeWeeks = (parameters: Parameters, signal?: AbortSignal) => get<t.Weeks>('/hours/places', parameters, signal)

export const questions = (signal?: AbortSignal) => get<{ questions: t.SavedQuestion[] }>('/questions', {}, signal)
export const saveQuestion = (name: string, title: string, filter: string) =>
  send(`/questions/${encodeURIComponent(name)}`, {}, { method: 'PUT', body: { title, collection: 'trees', filter } })
export const dropQuestion = (name: string) => send(`/questions/${encodeURIComponent(name)}`, {}, { method: 'DELETE' })

export const programmes = (site: string, signal?: AbortSignal) => get<{ programmes: t.Programme[] }>('/programmes', { site }, signal)
export const jobs = (parameters: Parameters, signal?: AbortSignal) => get<{ jobs: t.Job[] }>('/jobs', parameters, signal)
