import { useSignal } from '@preact/signals'
import { goTo } from '../map/camera'
import { map } from '../map/instance'
import { Button, Field } from '../ui/parts'
import { draft, faultOf } from './draft'
import { aim, corner, corners, drawing, fewest, finishDrawing, laid, lay, mayTake, middle, nudge, putCorner, putPoint, splitAfter, startDrawing, stopDrawing, takeOut, chosen } from './drawing'
import { saysShape } from './shape'

// Place says where a feature is, and moves it: on the map, by buttons and keys, by
// typed degrees, by the device's position.
export function Place() {
  const d = draft.value!
  const own = useSignal('')
  const atMiddle = () => { const at = middle(); if (at) lay(at) }
  const locate = () => {
    own.value = 'Looking for the position…'
    navigator.geolocation.getCurrentPosition((p) => {
      const at: [number, number] = [p.coords.longitude, p.coords.latitude]
      own.value = `Position of this device, within ${Math.round(p.coords.accuracy)} m.`
      if (drawing.value && drawing.value !== 'Point') lay(at)
      else if (d.shape && d.shape.type !== 'Point') putCorner(at)
      else { putPoint(at); stopDrawing() }
      goTo([at], 19)
    }, (err) => { own.value = `The position is not known: ${err.message}` }, { enableHighAccuracy: true, timeout: 20_000 })
  }
  const kind = drawing.value, fault = faultOf('geometry')
  return (
    <fieldset class="place">
      <legend>Where</legend>
      {fault && <p class="error" role="alert" id="fault-geometry" tabIndex={-1}>{fault}</p>}
      {kind ? (
        <div role="group" aria-label="Draw on the map">
          <Aim />
          <p>{kind === 'Point' ? 'Click the map, or move it and place the point at its middle.' : laid.value.length ? `${laid.value.length} ${laid.value.length === 1 ? 'corner' : 'corners'}` : 'Click the corners, or move the map and set them at its middle.'}</p>
          <div class="row">
            <Button onClick={atMiddle}>{kind === 'Point' ? 'Place at the middle' : 'Corner at the middle'}</Button>
            {kind !== 'Point' && <Button disabled={!laid.value.length} onClick={() => { laid.value = laid.value.slice(0, -1) }}>Take one back</Button>}
            {kind !== 'Point' && <Button look="main" disabled={laid.value.length < fewest[kind]} onClick={finishDrawing}>Done drawing</Button>}
            <Button onClick={locate}>Where I am</Button>
            <Button onClick={stopDrawing}>Leave off</Button>
          </div>
        </div>
      ) : (
        <>
          <p class="hint">{d.shape ? `Now: ${saysShape(d.shape)}. Drag ${d.shape.type === 'Point' ? 'it' : 'its corners'} on the map, or use what is below.` : 'Not placed yet.'}</p>
          <div class="row">
            {d.c === 'trees' ? <Button look={d.shape ? 'usual' : 'main'} onClick={() => startDrawing('Point')}>{d.shape ? 'Place anew' : 'Place on the map'}</Button> : (
              <>
                <Button onClick={() => startDrawing('Polygon')}>Draw an area</Button>
                <Button onClick={() => startDrawing('LineString')}>Draw a line</Button>
                <Button onClick={() => startDrawing('Point')}>Place a point</Button>
              </>
            )}
            <Button onClick={locate}>Where I am</Button>
          </div>
          {corner.value ? <Corner /> : d.c === 'trees' && <Degrees at={middle() ?? [0, 0]} onSet={putPoint} />}
        </>
      )}
      {own.value && <p class="hint" role="status">{own.value}</p>}
    </fieldset>
  )
}

// Aim marks the middle of the map.
function Aim() {
  const b = map.value?.getContainer().getBoundingClientRect()
  if (!b) return null
  const { x, y } = aim()
  return <span class="aim" aria-hidden="true" style={{ left: `${b.left + x}px`, top: `${b.top + y}px` }} />
}

const arrows: Record<string, [number, number]> = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] }

// Corner moves one corner, or the one point that there is.
function Corner() {
  const step = useSignal('0.5')
  const c = corner.value!, n = corners.value.length
  const go = (key: string, times = 1) => { const way = arrows[key]!; nudge(way[0] * Number(step.value) * times, way[1] * Number(step.value) * times) }
  const turn = (by: number) => { chosen.value = (Math.min(chosen.value, n - 1) + by + n) % n }
  return (
    <div class="corner" role="group" aria-label={n > 1 ? 'Corner' : 'Move'} onKeyDown={(e) => {
      if (!(e.target as Element).closest('button') || !(e.key in arrows)) return
      e.preventDefault()
      go(e.key, e.shiftKey ? 10 : 1)
    }}>
      {n > 1 && (
        <div class="row">
          <Button aria-label="Corner before" onClick={() => turn(-1)}>‹</Button>
          <span role="status">Corner {Math.min(chosen.value, n - 1) + 1} of {n}</span>
          <Button aria-label="Next corner" onClick={() => turn(1)}>›</Button>
          <Button onClick={splitAfter}>Add one after it</Button>
          <Button disabled={!mayTake.value} onClick={takeOut}>Take it out</Button>
        </div>
      )}
      <div class="row">
        {([['ArrowLeft', '←', 'west'], ['ArrowUp', '↑', 'north'], ['ArrowDown', '↓', 'south'], ['ArrowRight', '→', 'east']] as const).map(([key, sign, to]) => <Button key={key} aria-label={`Move to the ${to}`} onClick={() => go(key)}>{sign}</Button>)}
        <label class="step">by <select value={step.value} onChange={(e) => { step.value = e.currentTarget.value }}>{['0.1', '0.5', '1', '5', '20'].map((v) => <option key={v} value={v}>{v} m</option>)}</select></label>
      </div>
      <Degrees at={c.at} onSet={putCorner} />
    </div>
  )
}

// Degrees are typed; they count as soon as both are a place on earth.
function Degrees({ at, onSet }: { at: readonly [number, number]; onSet: (at: [number, number]) => void }) {
  const typed = useSignal<[string, string] | null>(null)
  const text = typed.value ?? [String(at[0]), String(at[1])]
  const read = (s: string, most: number) => { const n = /^[-+]?\d+([.,]\d*)?$/.test(s.trim()) ? Number(s.trim().replace(',', '.')) : NaN; return Math.abs(n) <= most ? n : null }
  const set = (k: 0 | 1, v: string) => {
    const next: [string, string] = k ? [text[0], v] : [v, text[1]]
    typed.value = next
    const lon = read(next[0], 180), lat = read(next[1], 90)
    if (lon !== null && lat !== null) onSet([lon, lat])
  }
  const field = (k: 0 | 1, label: string, most: number) => (
    <Field label={label} {...(read(text[k], most) === null ? { error: `${label} is ${text[k] || 'empty'}: expected a number from -${most} to ${most}` } : {})}>
      {(p) => <input {...p} inputMode="decimal" value={text[k]} onInput={(e) => set(k, e.currentTarget.value)} onBlur={() => { typed.value = null }} />}
    </Field>
  )
  return <div class="fields">{field(0, 'Longitude (°)', 180)}{field(1, 'Latitude (°)', 90)}</div>
}
