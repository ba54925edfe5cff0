import { useSignal } from '@preact/signals'
import { get, nextOf, type Parameters } from '../service'
import { useAnswer } from '../service/use'
import { Trouble } from '../ui/parts'
import { count, figure } from '../ui/words'
import type { Puts } from './hand'
import type { Item, Page, Programme } from './types'

const most = 100 // of the first by their place in the ranking


interface Props { p: Programme; puts: Puts; onPut: (tag: string, year: number | null) => void }

// LeftOut lists the trees that no year has room for, or that are not worth a visit,
// and lets one put them into a year.
export function LeftOut({ p, puts, onPut }: Props) {
  const open = useSignal(false)
  const out = p.trees - p.planned
  return (
    <details id="left-out" open={open.value} onToggle={(e) => { open.value = e.currentTarget.open }}>
      <summary>Trees left out: {count(out)}</summary>
      {open.value && <List p={p} puts={puts} onPut={onPut} />}
    </details>
  )
}

function List({ p, puts, onPut }: Props) {
  const list = useAnswer(async (signal) => {
    const asked: Parameters = { planned: 'false', limit: most }
    const page: Page & { items: Item[] } = await get(`/programmes/${p.programme_id}/items`, asked, signal)
    return { items: page.items, more: nextOf(page) !== null }
  }, [p.programme_id])
  return (
    <>
      <Trouble text={list.error} />
      {list.value && (
        <table>
          <caption>{list.value.more ? `The first ${most} by their place in the ranking. ` : ''}What a tree costs in a year is known once the programme is worked out again.</caption>
          <thead><tr><th scope="col">place</th><th scope="col" class="words">tree</th><th scope="col">harm index</th><th scope="col" class="words">why</th><th scope="col" class="words">put into</th></tr></thead>
          <tbody>
            {list.value.items.map((i) => (
              <tr key={i.tree_id} class={puts[i.tag] ? 'changed' : ''}>
                <td class="number">{i.place}</td><th scope="row">{i.tag || `#${i.tree_id}`}</th><td class="number">{figure(i.harm_index)}</td><td>{i.why}</td>
                <td>
                  <label class="hidden" for={`put-${i.tree_id}`}>year to put {i.tag} into</label>
                  <select id={`put-${i.tree_id}`} value={String(puts[i.tag || `#${i.tree_id}`] ?? '')} onChange={(e) => onPut(i.tag || `#${i.tree_id}`, Number(e.currentTarget.value) || null)}>
                    <option value="">no year</option>
                    {p.years.map((y) => <option key={y.year} value={String(y.year)}>{y.year}</option>)}
                  </select>
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
    </>
  )
}
