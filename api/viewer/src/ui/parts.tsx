import type { ComponentChildren, JSX } from 'preact'
import { useEffect, useId, useRef } from 'preact/hooks'

// The few parts that screens are made of. Each works with keys alone, shows its
// focus and says what it is.

type ButtonProps = JSX.IntrinsicElements['button'] & { look?: 'main' | 'usual' | 'plain' }

export function Button({ look = 'usual', ...rest }: ButtonProps) {
  return <button type="button" {...rest} class={`${look} ${rest.class ?? ''}`} />
}

// Field sets a label above what is filled in, with a hint below.
export function Field({ label, hint, error, children }: { label: string; hint?: string; error?: string; children: (p: { id: string; 'aria-describedby'?: string; 'aria-invalid'?: boolean }) => ComponentChildren }) {
  const id = useId()
  const says = error || hint
  return (
    <div class="field">
      <label for={id}>{label}</label>
      {children({ id, ...(says ? { 'aria-describedby': id + '-says' } : {}), ...(error ? { 'aria-invalid': true } : {}) })}
      {says && <p id={id + '-says'} class={error ? 'error' : 'hint'}>{says}</p>}
    </div>
  )
}

export type Choice = readonly [value: string, words: string]

export function Select({ label, hint, value, choices, onChange }: { label: string; hint?: string; value: string; choices: readonly Choice[]; onChange: (v: string) => void }) {
  // What the address asks for is offered even where it is none of ours.
  const all = choices.some(([v]) => v === value) ? choices : [...choices, [value, value || '–'] as Choice]
  return (
    <Field label={label} {...(hint ? { hint } : {})}>
      {(p) => (
        <select {...p} value={value} onChange={(e) => onChange(e.currentTarget.value)}>
          {all.map(([v, words]) => <option key={v} value={v}>{words}</option>)}
        </select>
      )}
    </Field>
  )
}

// Choices lets several words be picked, each a checkbox in its dress.
export function Choices({ label, chosen, choices, onChange, any }: { label: string; chosen: readonly string[]; choices: readonly Choice[]; onChange: (v: string[]) => void; any: string }) {
  const all = [...choices, ...chosen.filter((c) => !choices.some(([v]) => v === c)).map((c) => [c, c] as Choice)]
  return (
    <fieldset class="choices">
      <legend>{label} {chosen.length === 0 && <span class="soft">{any}</span>}</legend>
      {all.map(([v, words]) => (
        <label key={v} class="choice">
          <input type="checkbox" checked={chosen.includes(v)} onChange={(e) => onChange(e.currentTarget.checked ? [...chosen, v] : chosen.filter((c) => c !== v))} />
          <span>{words}</span>
        </label>
      ))}
    </fieldset>
  )
}

// Tabs moves by arrow keys, as tabs do; what a tab shows has the id `panel`.
export function Tabs({ label, tabs, current, panel, onChange }: { label: string; tabs: readonly Choice[]; current: string; panel: string; onChange: (v: string) => void }) {
  const list = useRef<HTMLDivElement>(null)
  const keys = (e: KeyboardEvent) => {
    const at = tabs.findIndex(([v]) => v === current)
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: tabs.length - 1 }[e.key]
    if (to === undefined) return
    e.preventDefault()
    const next = tabs[(to + tabs.length) % tabs.length]!
    onChange(next[0])
    list.current?.querySelector<HTMLElement>(`[data-tab="${next[0]}"]`)?.focus()
  }
  return (
    <div class="tabs" role="tablist" aria-label={label} ref={list} onKeyDown={keys}>
      {tabs.map(([v, words]) => (
        <button key={v} type="button" role="tab" id={`tab-${v}`} data-tab={v} aria-selected={v === current} aria-controls={panel} tabIndex={v === current ? 0 : -1} onClick={() => onChange(v)}>{words}</button>
      ))}
    </div>
  )
}

// Dialog holds the focus until it is closed, by Escape too, and gives it back.
export function Dialog({ title, open, onClose, children }: { title: string; open: boolean; onClose: () => void; children: ComponentChildren }) {
  const ref = useRef<HTMLDialogElement>(null)
  const id = useId()
  useEffect(() => {
    const d = ref.current
    if (!d) return
    if (open && !d.open) d.showModal()
    if (!open && d.open) d.close()
  }, [open])
  return (
    <dialog ref={ref} aria-labelledby={id} onClose={() => { if (!ref.current?.open) onClose() /* one that was opened again meanwhile stays */ }}>
      {open && (
        <>
          <header>
            <h2 id={id}>{title}</h2>
            <Button look="plain" aria-label="Close" onClick={onClose}>×</Button>
          </header>
          {children}
        </>
      )}
    </dialog>
  )
}

export const Inferred = () => <abbr class="inferred" title="by a rule, not by a person">inferred</abbr>
export const Estimated = ({ from }: { from: string }) => <abbr class="inferred" title={`not measured: from equations of its ${from}`}>estimated</abbr>

// Trouble shows what the service said went wrong.
export const Trouble = ({ text }: { text: string }) => text ? <p class="trouble" role="alert">{text}</p> : null
