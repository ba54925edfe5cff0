import { useSignal } from '@preact/signals'
import { ask, question, site } from '../state/store'
import { emptyQuestion } from '../state/address'
import { dropQuestion, questions, saveQuestion, type SavedQuestion } from '../service'
import { useAnswer } from '../service/use'
import { Button, Dialog, Field, Trouble } from '../ui/parts'
import { tell } from '../ui/toast'
import { cqlOf } from './cql'

// SavedQuestions lists the questions that are kept by name, and keeps this one.
export function SavedQuestions() {
  const open = useSignal(false)
  return (
    <>
      <Button aria-haspopup="dialog" onClick={() => { open.value = true }}>Saved questions</Button>
      <Dialog title="Saved questions" open={open.value} onClose={() => { open.value = false }}>
        <List onAsked={() => { open.value = false }} />
      </Dialog>
    </>
  )
}

function List({ onAsked }: { onAsked: () => void }) {
  const version = useSignal(0)
  const title = useSignal('')
  const error = useSignal('')
  const answer = useAnswer((signal) => questions(signal), [version.value])
  const list = answer.value?.questions.filter((q) => q.collection === 'trees') ?? []
  const put = (q: SavedQuestion) => {
    ask({ ...emptyQuestion, filter: q.filter })
    onAsked()
  }
  const done = (text: string) => () => { error.value = ''; version.value++; tell(text) }
  const failed = (err: Error) => { error.value = err.message }
  const save = (e: Event) => {
    e.preventDefault()
    const name = nameFor(title.value)
    if (!name) { error.value = 'Give it a name with a letter in it.'; return }
    saveQuestion(name, title.value.trim(), cqlOf(question.value, site.value)).then(done(`Saved as ${name}.`), failed)
  }
  return (
    <>
      <Trouble text={answer.error || error.value} />
      {list.length === 0 && !answer.busy && <p class="soft">None yet.</p>}
      <ul class="saved">
        {list.map((q) => (
          <li key={q.name}>
            <button type="button" class="plain" onClick={() => put(q)}>{q.title || q.name}</button>
            <code>{q.filter}</code>
            <Button look="plain" aria-label={`Forget ${q.title || q.name}`} onClick={() => dropQuestion(q.name).then(done('Forgotten.'), failed)}>×</Button>
          </li>
        ))}
      </ul>
      <form onSubmit={save}>
        <Field label="Save this question as" hint="It is then a collection of that name for any other program too.">
          {(p) => <input {...p} value={title.value} onInput={(e) => { title.value = e.currentTarget.value }} required />}
        </Field>
        <button type="submit" class="main">Save</button>
      </form>
    </>
  )
}

// nameFor makes a name for an address of a title.
export const nameFor = (title: string) => title.toLowerCase().normalize('NFD').replace(/[^a-z0-9]+/g, '-').replace(/^[^a-z]+|-+$/g, '').slice(0, 60)
