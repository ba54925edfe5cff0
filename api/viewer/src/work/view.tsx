import './work.css'
import { asOf, param, site } from '../state/store'
import { Button, Tabs } from '../ui/parts'
import { ReadingOnly } from './by'
import { JobsBoard } from './jobs'
import { ProgrammeScreen } from './programme'

const screen = param('work.screen', 'programme')
const screens = [['programme', 'Programme'], ['jobs', 'Jobs']] as const

// WorkView is what is planned, and what has come of it.
export function WorkView() {
  const shown = screen.value === 'jobs' ? 'jobs' : 'programme'
  return (
    <div class="work">
      <Tabs label="Work" panel="work" current={shown} tabs={screens} onChange={(v) => { screen.value = v }} />
      <div id="work" role="tabpanel" aria-labelledby={`tab-${shown}`} key={shown + site.value}>
        <ReadingOnly />
        {asOf.value && <p class="kept pad" role="status">Programmes and jobs are shown as they are now, not as of {asOf.value}. <Button onClick={() => { asOf.value = '' }}>Go to now</Button></p>}
        {site.value && (shown === 'jobs' ? <JobsBoard /> : <ProgrammeScreen />)}
      </div>
    </div>
  )
}
