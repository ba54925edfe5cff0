import type { Week } from '../service'
import { hour } from '../state/store'
import { theme } from '../state/theme'
import { lookOf } from '../map/look'
import { dayNames, figure, hourName } from '../ui/words'

// TreeStrip is the week under a tree.
export function TreeStrip({ week }: { week: Week }) {
  const says = `Week under the ${week.part}: on average up to ${figure(week.peak.people)} people, ${week.peak.name}; somebody there in ${figure(100 * week.occupied_share)} % of all hours.`
  return (
    <section aria-labelledby="week">
      <h3 id="week">The week under the {week.part}</h3>
      <Strip open={week.people_in_the_open} driven={week.people_in_vehicles} says={says} />
      {week.peak.people > 0
        ? <p>{figure(week.peak.people)} people at {week.peak.name}, the most of an ordinary week; somebody there in {figure(100 * week.occupied_share)} % of all hours.</p>
        : <p>Nobody is recorded or assumed there at any hour.</p>}
      <p class="hint">{week.note}</p>
    </section>
  )
}

// Strip shows a week, a row a day and a column an hour; the darker the more
// people. A click takes the hour to the map.
export function Strip({ open, driven, says }: { open: readonly number[]; driven: readonly number[]; says: string }) {
  const look = lookOf(theme.value)
  const people = open.map((n, i) => n + (driven[i] ?? 0))
  const most = Math.max(...people, 1e-9)
  const shade = (n: number) => n <= 0 ? look.ground : look.busy[1 + Math.min(3, Math.floor(4 * Math.sqrt(n / most)))]!
  const w = 12, h = 14, left = 34, top = 14, high = top + 7 * h + 18
  const pick = (e: MouseEvent) => {
    const svg = e.currentTarget as SVGSVGElement
    const b = svg.getBoundingClientRect()
    const x = (e.clientX - b.left) * (left + 24 * w + 2) / b.width - left, y = (e.clientY - b.top) * high / b.height - top
    if (x >= 0 && y >= 0 && y < 7 * h) hour.value = Math.floor(y / h) * 24 + Math.min(23, Math.floor(x / w))
  }
  return (
    <>
      <svg class="strip" viewBox={`0 0 ${left + 24 * w + 2} ${high}`} role="img" aria-label={says} onClick={pick}>
        {[0, 6, 12, 18].map((x) => <text key={x} x={left + x * w} y="10">{x}:00</text>)}
        {dayNames.map((d, y) => <text key={d} x="0" y={top + y * h + 11}>{d.slice(0, 3)}</text>)}
        {people.map((n, i) => (
          <rect key={i} x={left + (i % 24) * w} y={top + Math.floor(i / 24) * h} width={w - 1} height={h - 1} fill={shade(n)} stroke={i === hour.value ? look.chosen : 'none'} stroke-width="2">
            <title>{hourName(i)}: {figure(n)} people</title>
          </rect>
        ))}
        {look.busy.map((fill, i) => <rect key={i} x={left + i * 14} y={high - 12} width="10" height="10" fill={i ? fill : look.ground} stroke={look.line} />)}
      </svg>
      <p class="hint scale">Shades, from left: nobody{most > 1e-9 && [1, 4, 9, 16].map((n) => `, to ${figure(most * n / 16)}`)} people in the hour, on average.</p>
      <p>{hour.value === null ? 'A click on an hour shows it on the map.' : `${figure(people[hour.value])} people at ${hourName(hour.value)}, the hour on the map.`}</p>
    </>
  )
}
