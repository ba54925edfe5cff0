import { computed, effect, signal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { hour, tree } from '../state/store'
import { Button } from '../ui/parts'
import { count, dayNames, figure, hourName } from '../ui/words'
import { then } from './busy'
import { asking, treesSeen } from './weeks'

// The hour of the week: a slider that shades trees and places by who is there
// then, and runs through the week.

const step = 650 // milliseconds an hour takes: a week in under two minutes
const listed = 8

const still = matchMedia('(prefers-reduced-motion: reduce)')
const playing = signal(false)

const sum = computed(() => [...then.value.values()].reduce((n, t) => n + t.people, 0))
const first = computed(() => [...then.value.values()].filter((t) => t.people > 0).sort((a, b) => b.people - a.people || a.id - b.id).slice(0, listed))
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
  const n = then.value.size
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
        <output title="Who is under two trees is counted twice. Where a mark stands for many trees, it is shaded by the one with the most harm.">
          <b>{hourName(h, true)}</b> {asking.value && !n ? 'asking…' : <>{figure(sum.value)} people under {count(n)} trees about here{more.value && ', those with the most harm'}</>}
        </output>
        {first.value.length > 0 && (
          <details><summary>Most then</summary>
            <ol>{first.value.map((t) => <li key={t.id}><button type="button" class="link" onClick={() => { tree.value = t.id }}>{t.name ?? `#${t.id}`}</button> {figure(t.people)}</li>)}</ol>
          </details>
        )}
      </div>
    </div>
  )
}
