import type { ComponentChildren } from 'preact'
import { useSignal } from '@preact/signals'
import { useEffect, useLayoutEffect, useRef } from 'preact/hooks'

// Virtual shows a list of rows of one height, of which only those in sight are
// there. Rows are moved through with the keys; the row that has the focus stays
// there when it is out of sight.

interface Props<T> {
  id: string
  label: string
  items: readonly T[]
  height: number // of a row, in pixels
  current: number // index of what is chosen, or -1
  keyOf: (item: T) => string | number
  row: (item: T, tabIndex: 0 | -1) => ComponentChildren // holds one button
}

const spare = 8
// Where a list was left, by its id, so that it comes back as it was.
const left = new Map<string, { active: number; scroll: number }>()

// startAnew forgets where a list was left.
export const startAnew = (id: string) => void left.delete(id)

// Browsers place nothing farther down than some 16 to 33 million pixels.
const tallest = 10_000_000

export function Virtual<T>({ id, label, items, height, current, keyOf, row }: Props<T>) {
  const ref = useRef<HTMLOListElement>(null)
  const span = useSignal<[number, number]>([0, 20])
  const active = useSignal(left.get(id)?.active ?? 0)
  const focus = useRef(false)

  const measure = () => {
    const list = ref.current
    const frame = list?.closest<HTMLElement>('[data-scroll]')
    if (!list || !frame) return
    const top = frame.getBoundingClientRect().top - list.getBoundingClientRect().top
    const from = Math.max(0, Math.floor(top / height) - spare), to = Math.ceil((top + frame.clientHeight) / height) + spare
    if (from !== span.value[0] || to !== span.value[1]) span.value = [from, to]
  }
  useLayoutEffect(measure)
  useLayoutEffect(() => {
    const frame = ref.current?.closest<HTMLElement>('[data-scroll]')
    if (!frame) return
    let scroll = frame.scrollTop = left.get(id)?.scroll ?? 0
    const scrolled = () => { scroll = frame.scrollTop; measure() }
    frame.addEventListener('scroll', scrolled, { passive: true })
    const sizes = new ResizeObserver(measure)
    sizes.observe(frame)
    return () => {
      left.set(id, { active: active.peek(), scroll })
      frame.removeEventListener('scroll', scrolled)
      sizes.disconnect()
    }
  }, [])
  useLayoutEffect(() => {
    if (!focus.current) return
    focus.current = false
    ref.current?.querySelector<HTMLElement>('[data-active="true"] button')?.focus({ preventScroll: true })
  })

  const show = (i: number) => {
    const list = ref.current!, frame = list.closest<HTMLElement>('[data-scroll]')!
    const top = i * height + list.getBoundingClientRect().top - frame.getBoundingClientRect().top
    if (top < 0) frame.scrollTop += top
    else if (top + height > frame.clientHeight) frame.scrollTop += top + height - frame.clientHeight
  }
  const at = Math.min(active.value, items.length - 1)
  const keys = (e: KeyboardEvent) => {
    const many = Math.max(1, Math.floor((ref.current?.closest<HTMLElement>('[data-scroll]')?.clientHeight ?? height) / height) - 1)
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, PageDown: at + many, PageUp: at - many, Home: 0, End: items.length - 1 }[e.key]
    if (to === undefined) return
    e.preventDefault()
    active.value = Math.min(Math.max(to, 0), items.length - 1)
    show(active.value)
    measure()
    focus.current = true
  }
  useEffect(() => { if (current >= 0) { active.value = current; show(current) } }, [current])

  const shown: number[] = []
  for (let i = span.value[0]; i < Math.min(span.value[1], items.length); i++) shown.push(i)
  // In their order: a row that is moved within the page loses its focus.
  if (at >= 0 && !shown.includes(at)) shown.splice(at < span.value[0] ? 0 : shown.length, 0, at)
  return (
    <ol id={id} class="virtual" aria-label={label} ref={ref} style={{ height: `${Math.min(items.length * height, tallest)}px` }} onKeyDown={keys}>
      {shown.map((i) => {
        const item = items[i]!
        return (
          <li key={keyOf(item)} aria-setsize={items.length} aria-posinset={i + 1} data-active={i === at} onFocusIn={() => { active.value = i }} style={{ top: `${i * height}px`, height: `${height}px` }}>
            {row(item, i === at ? 0 : -1)}
          </li>
        )
      })}
    </ol>
  )
}
