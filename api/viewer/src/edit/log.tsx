import type { Geometry } from 'geojson'
import { get } from '../service'
import { useAnswer } from '../service/use'
import { edited } from '../state/store'
import { Button, Trouble } from '../ui/parts'
import { changes } from './draft'
import { textOf, type Collection } from './schema'
import { busy, returnTo } from './send'
import { saysShape } from './shape'

interface Entry { version: number; change: 'added' | 'changed' | 'deleted' | 'restored'; at: string; by: string; changes: { property: string; title: string; from: unknown; to: unknown }[] }
interface Log { deleted: boolean; entries: Entry[]; links: { rel: string }[] }

const does = { added: 'added it', changed: 'changed it', deleted: 'deleted it', restored: 'brought it back' }
const most = 100

const value = (property: string, v: unknown) => property === 'geometry' ? saysShape(v as Geometry | null) : textOf(v) || 'nothing'

// ChangeLog lists who did what to a feature, the latest first, and leads back to
// any version.
export function ChangeLog({ c, id, now }: { c: Collection; id: number; now: { version: number; etag: string | null } | null }) {
  const answer = useAnswer((signal) => get<Log>(`/collections/${c}/items/${id}/history`, { limit: most }, signal), [c, id, now?.version, edited.value])
  const log = answer.value
  return (
    <section aria-labelledby="log" id="log-of">
      <h3 id="log">Change log</h3>
      <Trouble text={answer.error} />
      <ol class="timeline">
        {log?.entries.map((e) => (
          <li key={`${e.version}${e.change}`} data-change={e.change} data-version={e.version}>
            <b>{e.at.slice(0, 16).replace('T', ' ')}</b> UTC, {e.by} {does[e.change]}{e.change === 'deleted' ? '' : ` (version ${e.version})`}
            {e.change === 'added' ? <details><summary>as it was then</summary><Changes e={e} /></details> : e.changes.length ? <Changes e={e} /> : e.change === 'changed' && <p>nothing that is served here changed</p>}
            {e.change !== 'deleted' && e.version !== now?.version && <Button disabled={busy.value || changes.value.any} onClick={() => void returnTo(c, id, e.version, now)}>{now ? 'Put back to' : 'Bring back'} version {e.version}</Button>}
          </li>
        ))}
      </ol>
      {log?.links.some((l) => l.rel === 'next') && <p class="hint">Only the latest {most} versions are listed here.</p>}
    </section>
  )
}

const Changes = ({ e }: { e: Entry }) => <ul class="changes">{e.changes.map((c) => <li key={c.property}>{c.title}: {e.change !== 'added' && <><del>{value(c.property, c.from)}</del> → </>}<ins>{value(c.property, c.to)}</ins></li>)}</ul>
