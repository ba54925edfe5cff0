import { signal } from '@preact/signals'
import { useLayoutEffect, useRef } from 'preact/hooks'

interface Act { words: string; act: () => void }
interface Note { id: number; text: string; kind: 'note' | 'error'; act: Act | undefined }
const notes = signal<Note[]>([])
let last = 0

// tell shows a line for a while; an error, and what one can do at once, stays until
// it is put away.
export function tell(text: string, kind: Note['kind'] = 'note', act?: Act) {
  if (notes.value.some((n) => n.text === text)) return
  const id = ++last
  notes.value = [...notes.value.slice(-3), { id, text, kind, act }]
  if (kind === 'note' && !act) setTimeout(() => putAway(id), 6000)
}

const putAway = (id: number) => { notes.value = notes.value.filter((n) => n.id !== id) }

// The notes lie above all else, a dialog too: each new one puts them on top.
export function Toasts() {
  const ref = useRef<HTMLDivElement>(null)
  const newest = notes.value.at(-1)?.id
  useLayoutEffect(() => {
    if (newest === undefined) return
    ref.current?.hidePopover?.()
    ref.current?.showPopover?.()
  }, [newest])
  return (
    <div class="toasts" role="status" aria-live="polite" popover="manual" ref={ref}>
      {notes.value.map((n) => (
        <p key={n.id} class={'toast ' + n.kind}>
          <span>{n.text}</span>
          {n.act && <button type="button" class="usual" onClick={() => { putAway(n.id); n.act!.act() }}>{n.act.words}</button>}
          <button type="button" class="plain" onClick={() => putAway(n.id)} aria-label={'Put away: ' + n.text}>×</button>
        </p>
      ))}
    </div>
  )
}
