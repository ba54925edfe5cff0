import './load.css'
import { useSignal } from '@preact/signals'
import { useEffect, useLayoutEffect } from 'preact/hooks'
import { editKey, takes } from '../service'
import { useAnswer } from '../service/use'
import { site, sites } from '../state/store'
import { Button, Field, Tabs, Trouble } from '../ui/parts'
import { HeldRows } from './held'
import { Mapped } from './mapping'
import { readsOnly, wantsKey } from './send'
import { file, plan, reopen, screen, sending, sent, take, trouble } from './state'

const screens = [['file', 'A file'], ['held', 'Held rows']] as const

// LoadView is how records come in: a file is dropped, looked at, tried and loaded;
// what could not be used is corrected.
export function LoadView() {
  const shown = screen.value === 'held' ? 'held' : 'file'
  const over = useSignal(false)
  // A file that falls beside the view would take the page's place.
  useLayoutEffect(() => {
    const events = new AbortController()
    const on = (kind: 'dragover' | 'dragleave' | 'drop', then: (e: DragEvent) => void) => addEventListener(kind, then, { signal: events.signal })
    const ofFiles = (e: DragEvent) => e.dataTransfer?.types.includes('Files')
    on('dragover', (e) => { if (ofFiles(e)) { e.preventDefault(); over.value = true } })
    on('dragleave', (e) => { if (!e.relatedTarget) over.value = false })
    on('drop', (e) => { if (ofFiles(e)) { e.preventDefault(); over.value = false; take(e.dataTransfer!.files) } })
    return () => events.abort()
  }, [])
  return (
    <div class={'load' + (over.value ? ' over' : '')}>
      <Tabs label="Import" panel="load" current={shown} tabs={screens} onChange={(v) => { screen.value = v }} />
      <div id="load" role="tabpanel" aria-labelledby={`tab-${shown}`}>
        {wantsKey.value && <Key />}
        {shown === 'held' ? <HeldRows key={`${site.value}${wantsKey.value}`} /> : <FileScreen />}
      </div>
    </div>
  )
}

function Key() {
  return (
    <form class="row key" onSubmit={(e) => { e.preventDefault(); editKey.set(String(new FormData(e.currentTarget).get('key'))); wantsKey.value = false; trouble.value = '' }}>
      <Field label="Key of those who may edit">{(p) => <input {...p} name="key" type="password" autocomplete="off" />}</Field>
      <Button type="submit">Use it</Button>
    </form>
  )
}

// FileScreen asks for a file, then shows what is in it.
function FileScreen() {
  const id = file.value, wants = wantsKey.value, s = sending.value
  useEffect(() => { if (!wants) void reopen() }, [id, wants])
  const may = useAnswer((signal) => takes('/imports', signal), [])
  if (may.value === false) return <p class="pad">{readsOnly}</p>
  return (
    <>
      <Trouble text={trouble.value} />
      {s ? (
        <section class="sending">
          <h2>Sending {s.name}</h2>
          <Bar label="sent" share={s.share} />
          <Button onClick={s.stop}>Stop</Button>
        </section>
      ) : sent.value && plan.value && sites.value ? <Mapped key={sent.value.import} of={sent.value} p={plan.value} />
        : id && !trouble.value ? <p class="soft" role="status">…</p> : (
          <section class="drop">
            <h2>Load records from a file</h2>
            <p>Drop a file here: CSV or GeoJSON, also packed with gzip. It is only sent by that; what is in it is shown before anything is loaded.</p>
            <label class="choose"><input type="file" id="choose" accept=".csv,.txt,.tsv,.json,.geojson,.geojsonl,.ndjson,.gz" onChange={(e) => take(e.currentTarget.files)} /><span>Choose a file</span></label>
            <p class="hint">Other forms (shapefile, GeoPackage, XLSX) have to be converted first. Trees and places go before cuts, visits, counts and crowns, which name them.</p>
          </section>
        )}
    </>
  )
}

export function Bar({ share, label }: { share: number; label: string }) {
  const percent = Math.round(100 * share)
  return <p class="progress"><progress max={100} value={percent} aria-label={label} /> {percent} % {label}</p>
}
