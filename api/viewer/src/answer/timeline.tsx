import { ofTree, type CutProps, type Feature, type VisitProps } from '../service'
import { useAnswer } from '../service/use'
import { asOf, edited } from '../state/store'
import { Trouble } from '../ui/parts'
import { figure } from '../ui/words'

interface Entry { when: string; what: string; says: string[]; id: string }

// Timeline tells what was cut and what was seen, the latest first.
export function Timeline({ id }: { id: number }) {
  const at = asOf.value
  const past = useAnswer(async (signal) => {
    const [cuts, visits] = await Promise.all([ofTree<CutProps>('cuts', id, at, signal), ofTree<VisitProps>('visits', id, at, signal)])
    return [...cuts.features.map(cutEntry), ...visits.features.map(visitEntry)].sort((a, b) => b.when.localeCompare(a.when) || a.id.localeCompare(b.id))
  }, [id, at, edited.value])
  return (
    <section aria-labelledby="past">
      <h3 id="past">Cuts and visits</h3>
      <Trouble text={past.error} />
      {past.value?.length === 0 && <p class="soft">No cut and no visit is recorded.</p>}
      <ol class="timeline">
        {past.value?.map((e) => (
          <li key={e.id} data-what={e.what}>
            <b>{e.when || 'no date'}</b> {e.says[0]}
            {e.says.slice(1).filter(Boolean).map((s) => <p key={s}>{s}</p>)}
          </li>
        ))}
      </ol>
    </section>
  )
}

function cutEntry({ id, properties: c }: Feature<CutProps>): Entry {
  const of = [c.diameter_cm ? `${figure(c.diameter_cm)} cm` : '', c.height_m ? `${figure(c.height_m)} m up` : '', c.bearing_deg !== null ? `to ${figure(c.bearing_deg)}°` : '', c.reach_m ? `${figure(c.reach_m)} m out` : '', c.lateral_diameter_cm ? `to a lateral of ${figure(c.lateral_diameter_cm)} cm` : '', c.stub_length_m ? `a stub of ${figure(c.stub_length_m)} m left` : '', c.bare_share ? `${figure(100 * c.bare_share)} % of the limb stripped` : ''].filter(Boolean).join(', ')
  return {
    id: `cut${id}`, what: 'cut', when: c.made_on ?? (c.made_year ? String(c.made_year) : ''),
    says: [
      `${(c.count ?? 1) > 1 ? `${c.count} × ` : ''}${c.kind}${of ? `: ${of}` : ''}`,
      c.given_kind && c.given_kind !== c.kind ? `recorded as ${c.given_kind}; the lateral rule classes it as ${c.kind}` : '',
      c.regrowth_length_m ? `shoots of ${figure(c.regrowth_length_m)} m${c.regrowth_count ? `, ${c.regrowth_count} of them` : ''}` : '',
      c.decay ? 'with decay' : '', c.closure !== null ? `closed to ${figure(100 * c.closure)} %` : '', c.gone_on ? `its wood was taken off on ${c.gone_on}` : '', c.job_id ? `by job ${c.job_id}` : '',
    ],
  }
}

function visitEntry({ id, properties: v }: Feature<VisitProps>): Entry {
  const judged = [['whole tree', v.whole_tree], ['crown', v.crown], ['limb', v.limb]].filter(([, l]) => l).map(([p, l]) => `${p} ${l}`).join(', ')
  const measured = [['stem', v.stem_diameter_cm, 'cm inside the bark'], ['decay', v.decay_diameter_cm, 'cm'], ['thinnest sound wall', v.sound_wall_cm, 'cm'], ['open', v.opening_share === null ? null : 100 * v.opening_share, '% of the girth']] as const
  return {
    id: `visit${id}`, what: 'visit', when: v.visited_on,
    says: [`seen${v.visited_by ? ` by ${v.visited_by}` : ''}${v.condition ? `: ${v.condition}` : ''}`, judged ? `judged: ${judged}` : 'nothing was judged', measured.filter(([, n]) => n !== null).map(([what, n, unit]) => `${what} ${figure(n)} ${unit}`).join(', '), v.note ?? '', v.job_id ? `for job ${v.job_id}` : '', v.next_visit_on ? `to be seen again on ${v.next_visit_on}` : ''],
  }
}
