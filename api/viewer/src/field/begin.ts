import { effect, signal } from '@preact/signals'
import { base, editKey } from '../service'
import { tell } from '../ui/toast'
import { views } from '../views'
import { wantsKey } from '../work/by'
import { flush, read, waiting } from './queue'
import { news } from './store'

// The worker of a newer build of the page, which waits to take over.
export const newer = signal<ServiceWorker | null>(null)
export const others = signal(false) // other tabs keep it from that

let begun = false
export function begin() {
  if (begun) return
  begun = true
  news(base).onmessage = () => void read()
  addEventListener('online', () => void flush())
  document.addEventListener('visibilitychange', () => { if (!document.hidden) void flush() })
  // A phone's word on its signal is not always right.
  setInterval(() => { if (waiting.value.length) void flush() }, 60_000)
  effect(() => {
    const n = waiting.value.length
    const title = n ? `Field (${n})` : 'Field'
    if (views.peek().some((v) => v.id === 'field' && v.title !== title)) views.value = views.peek().map((v) => v.id === 'field' ? { ...v, title } : v)
  })
  // A key that was asked for is there.
  effect(() => { if (!wantsKey.value && editKey.get()) void flush() })
  void read().then(() => flush())
  if (!import.meta.env.DEV) void keepThePage()
}

async function keepThePage() {
  const workers = navigator.serviceWorker as ServiceWorkerContainer | undefined
  if (!workers) return
  let had = !!workers.controller
  workers.addEventListener('controllerchange', () => {
    if (had) location.reload()
    had = true
  })
  const offer = () => tell(`A newer version of this page is ready.${others.value ? ' Close the other tabs of it first.' : ''}`, 'note', { words: 'Use it now', act: () => newer.value?.postMessage('take over') })
  workers.addEventListener('message', (e) => {
    if (e.data !== 'others') return
    others.value = true
    offer()
  })
  try {
    const r = await workers.register(`${base}/map/sw.js`, { scope: `${base}/map`, updateViaCache: 'none' })
    const look = () => {
      if (!r.waiting || !workers.controller) return
      newer.value = r.waiting
      // A page that nobody has touched yet loses nothing by being loaded anew.
      if (navigator.userActivation?.hasBeenActive === false) {
        r.waiting.postMessage('take over')
        setTimeout(look, 5000) // somebody may touch it before that comes to pass
      } else offer()
    }
    const follow = () => r.installing?.addEventListener('statechange', look)
    look()
    follow()
    r.addEventListener('updatefound', follow)
  } catch (err) {
    console.info((err as Error).message)
  }
}
