import { signal } from '@preact/signals'

interface Note { id: number; text: string; kind: 'note' | 'error' }
const notes = signal<Note[]>([])
let last = 0

// tell shows a line for a while; an error stays until it is put away.
export function tell(text: string, kind: Note['kind'] = 'note') {
  if (notes.value.some((n) => n.text === text)) return
  const id = ++last
  notes.value = [...notes.value.slice(-3), { id, text, kind }]
  if (kind === 'note') setTimeout(() => putAway(id), 6000)
}

const putAway = (id: number) => { notes.value = notes.value.filter((n) => n.id !== id) }

export function Toasts() {
  return (
    <div class="toasts" role="status" aria-live="polite">
      {notes.value.map((n) => (
        <p key={n.id} class={'toast ' + n.kind}>
          <span>{n.text}</span>
          <button type="button" class="plain" onClick={() => putAway(n.id)} aria-label={'Put away: ' + n.text}>×</button>
        </p>
      ))}
    </div>
  )
}
