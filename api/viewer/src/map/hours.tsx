import { computed, effect, signal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { rowOf, rows } from '../answer/answer'
import { camera, hour, tree } from '../state/store'
import { Button } from '../ui/parts'
import { dayNames, figure, hourName, plural } from '../ui/words'
import { then } from './busy'
import { inSight } from './camera'
import { map } from './instance'
import { asking, treesSeen } from './weeks'

// The hour of the week: a slider that shades trees and places by who is there
// then, and runs through the week.

const step = 650 // milliseconds an hour takes: a week in under two minutes
const listed = 8

const still = matchMedia('(prefers-reduced-motion: reduce)')
const playing = signal(false)

// Weeks come by cells, which reach beyond the screen: those on it are told.
const here = computed(() => {
  camera.value
  const m = map.value
  if (!m) return []
  rows.value // which know where trees are
  const seen = inSight(m)
  return [...then.value.values()].filter((t) => { const at = rowOf(t.id)?.at; return at && seen(at) })
})
const sum = computed(() => here.value.reduce((n, t) => n + t.people, 0))
const first = computed(() => here.value.filter((t) => t.people > 0).sort((a, b) => b.people - a.people || a.id - b.id).slice(0, listed))
const more = computed(() => treesSeen.value.some((p) => p.more))

const go = (h: number) => { hour.value = (h + 168) % 168 }

// A day on or back; what is between are the arrows' hours.
function keys(e: KeyboardEvent) {
  const by = { PageUp: 24, PageDown: -24 }[e.key]
  if (!by) return
  e.preventDefault()
  go((hour.peek() ?? 0) + by)
}

export function Hours() {
  useEffect(() => effect(() => {
    if (!playing.value) return
    const t = setInterval(() => go((hour.peek() ?? 0) + 1), step)
    return () => clearInterval(t)
  }), [])
  const h = hour.value
  if (h === null) return <div class="over-map hours"><Button onClick={() => go(8)}>Hour of the week</Button></div>
  const n = here.value.length
  const put = () => { playing.value = false; hour.value = null }
  return (
    <div class="over-map hours open" role="group" aria-label="Hour of the week" onKeyDown={(e) => { if (e.key === 'Escape') put() }}>
      <div class="run">
        {still.matches
          ? <Button aria-label="Next hour" onClick={() => go(h + 1)}>+1 h</Button>
          : <Button aria-pressed={playing.value} aria-label={playing.value ? 'Stop' : 'Run through the week'} onClick={() => { playing.value = !playing.value }}>{playing.value ? '❚❚' : '▶'}</Button>}
        <label>
          <span class="hidden">Hour of the week</span>
          <input type="range" min="0" max="167" value={h} aria-valuetext={hourName(h)} onInput={(e) => go(Number(e.currentTarget.value))} onKeyDown={keys} />
          <span class="days" aria-hidden="true">{dayNames.map((d) => <span key={d}>{d.slice(0, 3)}</span>)}</span>
        </label>
        <Button look="plain" aria-label="Put the hour away" onClick={put}>×</Button>
      </div>
      <div class="says">
        <output title="Where a mark stands for many trees, it is shaded by the one with the most harm.">
          <b>{hourName(h, true)}</b> {asking.value && !n ? 'asking…' : <>{figure(sum.value)} people under {plural(n, 'tree', 'trees')} on the screen{more.value && ', those with the most harm'}; who is under two counts twice</>}
        </output>
        {first.value.length > 0 && (
          <details><summary>Most people then</summary>
            <ol>{first.value.map((t) => <li key={t.id}><button type="button" class="link" onClick={() => { tree.value = t.id }}>{t.name ?? `#${t.id}`}</button> {figure(t.people)} people</li>)}</ol>
          </details>
        )}
      </div>
    </div>
  )
}
