import { openDB, type DBSchema, type IDBPDatabase } from 'idb'

// What is kept on this device. The page and its worker both use it: nothing here
// needs a window.

export interface Cut {
  key: number; kind: string; count: string; diameter_cm: string; lateral_diameter_cm: string; stub_length_cm: string; height_m: string; bearing_deg: string; reach_m: string
  on_cut: string; gone: boolean; regrowth_left_m: string
}
export interface Otherwise { key: number; what: string; reason: string }
export interface Picture { name: string; type: string; blob: Blob }
export interface Position { longitude: number; latitude: number; accuracy_m: number; at: string }

// Draft is the form of a completion as it was filled in.
export interface Draft {
  on: string; hours: string; dose: string; note: string; height_m: string; crown_radius_m: string; removed: boolean; finished: boolean
  cuts: Cut[]; otherwise: Otherwise[]; pictures: Picture[]; position: Position | null
}

// Entry is a completion on its way to the service. Only who recorded it takes one
// away that the service did not take.
export interface Entry {
  id?: number // in their order
  key: string // of the request, so that it is recorded once
  job: number; tag: string
  etag: string | null // of the job as it was read
  version: number; was: string // its version and state then
  kept: string // when it was recorded here
  body: Record<string, unknown>
  draft: Draft // what it was made from; its pictures are those that are still to be sent
  recorded: boolean // the service has the completion, if not all pictures
  state: 'waiting' | 'refused' | 'aside' | 'sent'
  tried: string // when it was last sent; empty for not yet
  trouble: { status: number; detail: string } | null
}

// Taken is a job that is taken along.
export interface Taken {
  job: number; site: string; tag: string; work: string; package: string; year: number; state: string; species: string
  at: [number, number]; since: string; addresses: string[]
}

interface Schema extends DBSchema {
  entries: { key: number; value: Entry }
  drafts: { key: number; value: { job: number; draft: Draft } }
  taken: { key: number; value: Taken }
}

let opened: Promise<IDBPDatabase<Schema>> | undefined

// open opens what is kept for the service below a path.
export const open = (base: string) => opened ??= openDB<Schema>(`underbough${base}`, 1, {
  upgrade(db) {
    db.createObjectStore('entries', { keyPath: 'id', autoIncrement: true })
    db.createObjectStore('drafts', { keyPath: 'job' })
    db.createObjectStore('taken', { keyPath: 'job' })
  },
  blocking(_, __, e) { (e.target as IDBDatabase).close(); opened = undefined },
  terminated() { opened = undefined },
})

// write stores a row, and is done once it lies on the disk.
export async function write<S extends 'entries' | 'drafts' | 'taken'>(base: string, store: S, row: Schema[S]['value']): Promise<number> {
  const tx = (await open(base)).transaction(store, 'readwrite', { durability: 'strict' })
  const [key] = await Promise.all([tx.store.put!(row), tx.done])
  return key as number
}

// The caches: the page's files by their build, and what is taken along.
export const fieldCache = (base: string) => `underbough-field${base}`
export const keptHeader = 'Underbough-Kept'

// Told whenever what waits has changed, in this tab or another.
export const news = (base: string) => new BroadcastChannel(`underbough${base}`)
