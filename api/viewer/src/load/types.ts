export interface Column { name: string; values: string[]; filled: number }
export interface FieldSpec { name: string; quantity: string; units: string[]; needs_unit: boolean; choices: string[] }
export interface Rule { field: string; from?: string; unit?: string; value?: string; values?: { from: string; to: string }[]; max?: number }
export interface Role { as: string; fields: FieldSpec[]; required: string[][]; located: boolean; mapping: Rule[]; unclear: { column: string; field: string; units: string[] }[] }
export interface Sent { import: string; name: string; bytes: number; format: string; sampled: number; columns: Column[]; longitude: string; latitude: string; wkt: string; roles: Role[] }
export interface Counts { read: number; added: number; updated: number; unchanged: number; left_out: number; quarantined: number; repaired: number; broken: number; summed?: number; cuts_added: number; cuts_updated: number; cuts_unchanged: number }
export interface Run {
  file: string; as: string; site: string; dry_run: boolean; state: 'reading' | 'ended' | 'stopped' | 'failed'
  bytes: number; bytes_read: number; records: number; seconds: number; counts: Counts | null
  first_held: { record: number; field: string; reason: string; row: string }[]; box: number[]; problem: { status: number; detail: string } | null
}
export interface Held { id: number; site: string; as: string; file: string; record: number; field: string; reason: string; row: string; cells: { name: string; value: string; fault: boolean }[] }
export interface HeldPage { held: Held[]; numberMatched: number }
