import { get } from '../service'
import { useAnswer } from '../service/use'
import { edited, site } from '../state/store'
import { Button, Trouble } from '../ui/parts'
import { oneOf } from './schema'
import { busy, returnTo } from './send'

interface Deleted { deleted: { id: number; name: string; version: number; at: string; by: string }[] }

// DeletedLately lists what was deleted of the site, and brings it back.
export function DeletedLately() {
  const answer = useAnswer(async (signal) => (await Promise.all((['trees', 'targets'] as const).map(async (c) =>
    (await get<Deleted>(`/collections/${c}/deleted`, { site: site.value, limit: 20 }, signal)).deleted.map((d) => ({ ...d, c })))))
    .flat().sort((a, b) => b.at.localeCompare(a.at)).slice(0, 20), [site.value, edited.value])
  if (!answer.error && !answer.value?.length) return null
  return (
    <section aria-labelledby="deleted">
      <h3 id="deleted">Deleted lately</h3>
      <Trouble text={answer.error} />
      <ul class="records">
        {answer.value?.map((d) => <li key={d.c + d.id}>{oneOf[d.c]} {d.name || d.id}, {d.at.slice(0, 16).replace('T', ' ')} UTC, by {d.by} <Button disabled={busy.value} aria-label={`Bring back ${oneOf[d.c]} ${d.name || d.id}`} onClick={() => void returnTo(d.c, d.id, d.version, null)}>Bring back</Button></li>)}
      </ul>
    </section>
  )
}
