import { useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { Button } from '../ui/parts'
import type { Position } from './store'

const enough = 5, longest = 20_000 // metres; ms that a better fix is waited for

const troubles: Record<number, string> = {
  1: 'The browser was not allowed to say where it is. Allow it in its settings, or leave the position out.',
  2: 'The device does not know where it is just now. Try in the open, or leave the position out.',
}

// metres between two places that are near one another.
const apart = (p: Position, [lon, lat]: [number, number]) => Math.hypot((p.latitude - lat) * 111_320, (p.longitude - lon) * 111_320 * Math.cos(lat * Math.PI / 180))

// Where takes the position of the device, the sharpest of some seconds, with its
// accuracy: the radius that it lies within with 95 % confidence (W3C Geolocation).
export function Where({ at, tree, onChange }: { at: Position | null; tree: [number, number] | null; onChange: (p: Position | null) => void }) {
  const trouble = useSignal(''), looking = useSignal(false)
  const stop = useRef(() => {})
  useEffect(() => () => stop.current(), [])
  const look = () => {
    if (!navigator.geolocation) { trouble.value = 'This browser does not say where it is at this address: it does so over HTTPS only.'; return }
    trouble.value = ''
    looking.value = true
    let best: Position | null = null
    const watch = navigator.geolocation.watchPosition(({ coords: c, timestamp }) => {
      if (best && c.accuracy >= best.accuracy_m) return
      onChange(best = { longitude: c.longitude, latitude: c.latitude, accuracy_m: c.accuracy, at: new Date(timestamp).toISOString() })
      if (c.accuracy <= enough) stop.current()
    }, (err) => {
      if (!best || err.code === 1) trouble.value = troubles[err.code] ?? 'The device took too long to say where it is: try again, or leave the position out.'
      stop.current()
    }, { enableHighAccuracy: true, timeout: longest, maximumAge: 0 })
    const timer = setTimeout(() => stop.current(), longest)
    stop.current = () => { clearTimeout(timer); navigator.geolocation.clearWatch(watch); looking.value = false; stop.current = () => {} }
  }
  return (
    <section id="where" aria-labelledby="where-title">
      <h4 id="where-title">Where this was done</h4>
      <p role="status">{at ? <>{at.latitude.toFixed(5)}, {at.longitude.toFixed(5)} <b>± {at.accuracy_m < 10 ? at.accuracy_m.toFixed(1) : Math.round(at.accuracy_m)} m</b>{tree ? `, ${Math.round(apart(at, tree))} m from the tree` : ''}, at {at.at.slice(11, 16)} UTC</> : looking.value ? 'Looking…' : 'No position; it may be left out.'}{at && looking.value ? ' – still getting sharper…' : ''}</p>
      {trouble.value && <p class="error" role="alert">{trouble.value}</p>}
      <div class="row">
        {looking.value ? <Button onClick={() => stop.current()}>That will do</Button> : <Button onClick={look}>{at ? 'Take it again' : 'Take the position'}</Button>}
        {at && !looking.value && <Button onClick={() => onChange(null)}>Leave the position out</Button>}
      </div>
    </section>
  )
}
