import { hour, question } from '../state/store'
import { theme } from '../state/theme'
import { hourName, orders } from '../ui/words'
import { busySteps, hourSteps, lookOf, type Look } from './look'

const Swatch = ({ fill, edge, dash, round }: { fill?: string; edge?: string; dash?: string; round?: boolean }) => (
  <svg width="22" height="14" viewBox="0 0 22 14" aria-hidden="true">
    {round ? <circle cx="11" cy="7" r="5" fill={fill ?? 'none'} stroke={edge ?? 'none'} /> : <rect x="1" y="2" width="20" height="10" fill={fill ?? 'none'} stroke={edge ?? 'none'} stroke-width="1.5" stroke-dasharray={dash} />}
  </svg>
)

// Legend explains marks, places and zones.
export function Legend() {
  const look = lookOf(theme.value)
  const by = question.value.by, h = hour.value
  return (
    <details id="legend">
      <summary>Key</summary>
      <p>{h === null ? <>Trees by {orders.find(([v]) => v === by)?.[1]}</> : <>Trees by people beneath, {hourName(h, true)}</>}</p>
      <ul>{(h === null ? trees(look, by) : beneath(look)).map(([fill, words]) => <li key={words}><Swatch fill={fill} edge={look.line} round />{words}</li>)}</ul>
      <p>Places by people present, {h === null ? 'mean of the week' : hourName(h, true)}</p>
      <ul>
        {look.busy.map((fill, i) => <li key={i}><Swatch fill={fill} edge={look.line} />{i === 0 ? 'not known here' : i === 1 ? `under ${busySteps[1]}` : i === 4 ? `${busySteps[3]} and more` : `${busySteps[i - 1]} to ${busySteps[i]}`}</li>)}
        <li><Swatch fill={look.building} edge={look.line} />building</li>
      </ul>
      <p>The tree that is opened, to scale</p>
      <ul>
        <li><Swatch edge={look.zone} dash="2 3" />reach of the whole tree</li>
        <li><Swatch edge={look.zone} />under the crown</li>
        <li><Swatch fill={look.zone} />under a limb with a cut</li>
      </ul>
    </details>
  )
}

const trees = (look: Look, by: string): [string, string][] => by === 'rating'
  ? [[look.rank[4], 'extreme'], [look.rank[3], 'high'], [look.rank[2], 'moderate'], [look.rank[1], 'low'], [look.rank[0], 'not rated']]
  : [[look.rank[4], 'the first 10'], [look.rank[3], 'to the 100th'], [look.rank[2], 'to the 1,000th'], [look.rank[1], 'to the 10,000th'], [look.rank[0], 'all others']]

const beneath = (look: Look): [string, string][] => [
  [look.rank[4], `${hourSteps[3]} and more, the largest`], [look.rank[3], `${hourSteps[2]} to ${hourSteps[3]}`], [look.rank[2], `${hourSteps[1]} to ${hourSteps[2]}`], [look.rank[1], `${hourSteps[0]} to ${hourSteps[1]}`],
  [look.rank[0], `under ${hourSteps[0]}`], [look.ground, 'not asked for here'],
]
