import './load.css'
import { useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { editKey, Problem } from '../service'
import { param, site, sites } from '../state/store'
import { Button, Field, Tabs, Trouble } from '../ui/parts'
import { HeldRows } from './held'
import { Mapped } from './mapping'
import { asked, told, upload, wantsKey, wrong } from './send'
import type { Sent } from './types'

const screen = param('load.screen', 'file')
export const file = param('load.file')
const screens = [['file', 'A file'], ['held', 'Held rows']] as const

// LoadView is how records come in: a file is dropped, looked at, tried and loaded;
// what could not be used is corrected.
export function LoadView() {
  const shown = screen.value === 'held' ? 'held' : 'file'
  return (
    <div class="load">
      <Tabs label="Import" panel="load" current={shown} tabs={screens} onChange={(v) => { screen.value = v }} />
      <div id="load" role="tabpanel" aria-labelledby={`tab-${shown}`}>
        {wantsKey.value && <Key />}
        {shown === 'held' ? <HeldRows key={`${site.value}${wantsKey.value}`} /> : <FileScreen key={String(wantsKey.value)} onHeld={() => { screen.value = 'held' }} />}
      </div>
    </div>
  )
}

function Key() {
  return (
    <form class="row key" onSubmit={(e) => { e.preventDefault(); editKey.set(String(new FormData(e.currentTarget).get('key'))); wantsKey.value = false }}>
      <Field label="Key of those who may edit">{(p) => <input {...p} name="key" type="password" autocomplete="off" />}</Field>
      <Button type="submit">Use it</Button>
    </form>
  )
}

// FileScreen asks for a file, then shows what is in it.
function FileScreen({ onHeld }: { onHeld: () => void }) {
  const sent = useSignal<Sent | null>(null)
  const trouble = useSignal('')
  const share = useSignal<number | null>(null) // of the file that is on its way
  const name = useSignal('')
  const over = useSignal(false)
  const stop = useRef<(() => void) | null>(null)
  useEffect(() => {
    const id = file.value
    if (!id || sent.value?.import === id) return
    asked<Sent>(`/imports/${id}`).then((s) => { sent.value = s }, (err: Problem) => {
      trouble.value = wrong(err)
      if (err.status === 404) file.value = ''
    })
  }, [file.value])
  useEffect(() => () => stop.current?.(), [])
  const take = (list: FileList | null | undefined) => {
    const f = list?.[0]
    if (!f || share.value !== null) return
    trouble.value = list!.length > 1 ? `One file at a time: ${f.name} is taken.` : ''
    if (sent.value) void told('DELETE', `/imports/${sent.value.import}`).catch(() => undefined)
    sent.value = null
    file.value = ''
    share.value = 0
    name.value = f.name
    const sending = upload(f, (part) => { share.value = part })
    stop.current = sending.stop
    sending.done.then((s) => { sent.value = s; file.value = s.import }, (err: Problem) => { trouble.value = wrong(err) })
      .finally(() => { share.value = null; stop.current = null })
  }
  const another = () => {
    if (sent.value) void told('DELETE', `/imports/${sent.value.import}`).catch(() => undefined)
    sent.value = null
    file.value = ''
  }
  const dropped = {
    onDragOver: (e: DragEvent) => { e.preventDefault(); over.value = true },
    onDragLeave: () => { over.value = false },
    onDrop: (e: DragEvent) => { e.preventDefault(); over.value = false; take(e.dataTransfer?.files) },
  }
  return (
    <div class={'file' + (over.value ? ' over' : '')} {...dropped}>
      <Trouble text={trouble.value} />
      {share.value !== null ? (
        <section class="sending">
          <h2>Sending {name.value}</h2>
          <Bar label="sent" share={share.value} />
          <Button onClick={() => stop.current?.()}>Stop</Button>
        </section>
      ) : sent.value && sites.value ? <Mapped key={sent.value.import} of={sent.value} onAnother={another} onHeld={onHeld} onGone={(text) => { sent.value = null; file.value = ''; trouble.value = text }} />
        : file.value && !trouble.value ? <p class="soft" role="status">…</p> : (
          <section class="drop">
            <h2>Load records from a file</h2>
            <p>Drop a file here: CSV or GeoJSON, also packed with gzip. It is only sent by that; what is in it is shown before anything is loaded.</p>
            <label class="choose"><input type="file" id="choose" accept=".csv,.txt,.tsv,.json,.geojson,.geojsonl,.ndjson,.gz,text/csv,application/geo+json,application/json,application/gzip" onChange={(e) => take(e.currentTarget.files)} /><span>Choose a file</span></label>
            <p class="hint">Other forms (shapefile, GeoPackage, XLSX) have to be converted first. Trees and places go before cuts, visits, counts and crowns, which name them.</p>
          </section>
        )}
    </div>
  )
}

export function Bar({ share, label }: { share: number; label: string }) {
  const percent = Math.round(100 * share)
  return <p class="progress"><progress max={100} value={percent} aria-label={label} /> {percent} % {label}</p>
}
