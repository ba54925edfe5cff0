import { useSignal } from '@preact/signals'
import { useRef } from 'preact/hooks'
import type { Inside, Question } from '../state/address'
import { ask, askNothing, asOf, question, site } from '../state/store'
import { startArea, whatIsSeen } from '../map/area'
import { Button, Choices, Field, Select } from '../ui/parts'
import { tell } from '../ui/toast'
import { cuts, kinds, orders, word } from '../ui/words'
import { cqlOf } from './cql'
import { SavedQuestions } from './saved'

const or = (list: readonly string[]) => list.length < 2 ? list.join('') : list.slice(0, -1).map(word).join(', ') + ' or ' + word(list.at(-1)!)

// inWords says the question as a sentence.
export function inWords(q: Question): string {
  const any = !q.over.length && !q.cuts.length && !q.since && !q.seenBefore && q.inside.kind === 'site' && !q.filter
  const out = [any ? 'All trees' : 'Trees']
  if (q.over.length) out.push(`over ${or(q.over.map(word))}`)
  if (q.cuts.length) out.push(`carrying ${or(q.cuts)}`)
  if (q.since) out.push(`${q.cuts.length ? 'and ' : ''}topped in ${q.since} or later`)
  if (q.seenBefore) out.push(`not seen since ${q.seenBefore}`)
  if (q.inside.kind === 'box') out.push('inside a part of the map')
  if (q.inside.kind === 'area') out.push('inside the drawn area')
  if (q.filter) out.push('and as the filter says')
  out.push(`by ${orders.find(([v]) => v === q.by)?.[1]}`)
  return out.join(' ') + (asOf.value ? `, as of ${asOf.value}` : '')
}

// Builder puts the question together from parts in plain words.
export function Builder() {
  const q = question.value
  const open = useSignal(false)
  return (
    <section id="question" aria-labelledby="question-words">
      <h2 id="question-words">{inWords(q)}</h2>
      <div class="row">
        <Button look="main" aria-expanded={open.value} aria-controls="parts" onClick={() => { open.value = !open.value }}>{open.value ? 'Done' : 'Change the question'}</Button>
        <SavedQuestions />
      </div>
      {open.value && <div id="parts"><Parts q={q} /></div>}
    </section>
  )
}

function Parts({ q }: { q: Question }) {
  const year = useSignal('') // that is none
  return (
    <>
      <Choices label="Over" any="any place, or none" chosen={q.over} choices={kinds.map((k) => [k, word(k)] as const)} onChange={(over) => ask({ over })} />
      <Choices label="Carrying" any="any cuts, or none" chosen={q.cuts} choices={cuts.map((c) => [c, c] as const)} onChange={(c) => ask({ cuts: c })} />
      <div class="fields">
        <Field label="Topped since" hint="a year" {...(year.value ? { error: `${year.value} is no year: expected four digits such as 2014` } : {})}>
          {(p) => <input {...p} inputMode="numeric" autocomplete="off" value={year.value || (q.since ?? '')} onChange={(e) => { const v = e.currentTarget.value.trim(), fits = !v || /^[12]\d{3}$/.test(v); year.value = fits ? '' : v; if (fits) ask({ since: Number(v) || null }) }} />}
        </Field>
        <Field label="Last seen before" hint="or never">
          {(p) => <input {...p} type="date" value={q.seenBefore} onChange={(e) => ask({ seenBefore: e.currentTarget.value })} />}
        </Field>
        <Field label="As of" hint="empty for now">
          {(p) => <input {...p} type="date" value={asOf.value.slice(0, 10)} onChange={(e) => { asOf.value = e.currentTarget.value }} />}
        </Field>
        <Select label="The first by" value={q.by} choices={orders} onChange={(by) => ask({ by: by as Question['by'] })} />
      </div>
      <InsideParts inside={q.inside} />
      <Written q={q} />
      <Button onClick={askNothing}>Begin anew</Button>
    </>
  )
}

function InsideParts({ inside }: { inside: Inside }) {
  const seen = () => {
    const box = whatIsSeen()
    if (box) ask({ inside: { kind: 'box', box } })
  }
  return (
    <fieldset class="choices">
      <legend>Inside</legend>
      <Button aria-pressed={inside.kind === 'site'} onClick={() => ask({ inside: { kind: 'site' } })}>the whole site</Button>
      <Button aria-pressed={inside.kind === 'box'} onClick={seen}>what is on the screen</Button>
      <Button aria-pressed={inside.kind === 'area'} onClick={startArea}>{inside.kind === 'area' ? 'another area' : 'an area I draw'}</Button>
    </fieldset>
  )
}

// Written shows the question as other programs take it, and takes more of it.
function Written({ q }: { q: Question }) {
  const text = cqlOf(q, site.value)
  const pre = useRef<HTMLPreElement>(null)
  // Where the page does not come by https there is no clipboard (Secure Contexts).
  const copy = async () => {
    try {
      await navigator.clipboard.writeText(text)
      tell('The filter is copied.')
    } catch {
      getSelection()?.selectAllChildren(pre.current!)
      tell('The browser does not let it be copied by a button here: the text is selected, copy it by the keys or the menu.')
    }
  }
  return (
    <details class="written">
      <summary>As a filter (CQL2)</summary>
      <pre ref={pre} tabIndex={0} aria-label="The question in CQL2">{text}</pre>
      <Button onClick={copy}>Copy</Button>
      <Field label="And besides" hint="CQL2 of your own, such as height_m > 12 AND rating = 'high'">
        {(p) => <textarea {...p} rows={2} value={q.filter} spellcheck={false} onChange={(e) => ask({ filter: e.currentTarget.value.trim() })} />}
      </Field>
    </details>
  )
}
