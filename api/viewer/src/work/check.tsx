import { Field, Select } from '../ui/parts'

// Checked is what somebody who checks work judges besides; empty is not judged.
export interface Checked { whole_tree: string; crown: string; limb: string; condition: string; finished: boolean }
export const unjudged: Checked = { whole_tree: '', crown: '', limb: '', condition: '', finished: false }

export const checkBody = (c: Checked) => ({ ...Object.fromEntries(Object.entries(c).filter(([, v]) => v)) })

const likelihoods = [['', 'not judged'], ...['improbable', 'possible', 'probable', 'imminent'].map((w) => [w, w] as const)] as const

export function CheckFields({ c, onChange }: { c: Checked; onChange: (c: Checked) => void }) {
  const part = (of: 'whole_tree' | 'crown' | 'limb', label: string) => <Select label={label} value={c[of]} choices={likelihoods} onChange={(v) => onChange({ ...c, [of]: v })} />
  return (
    <fieldset id="check"><legend>How likely each part is to fail, as seen after the work</legend>
      <div class="fields three">
        {part('whole_tree', 'Whole tree')}
        {part('crown', 'Crown')}
        {part('limb', 'Limb')}
      </div>
      <Field label="Condition of the tree">{(p) => <input {...p} name="condition" value={c.condition} onInput={(e) => onChange({ ...c, condition: e.currentTarget.value })} />}</Field>
      <label class="choice"><input type="checkbox" checked={c.finished} onChange={(e) => onChange({ ...c, finished: e.currentTarget.checked })} />the work is at its end</label>
    </fieldset>
  )
}
