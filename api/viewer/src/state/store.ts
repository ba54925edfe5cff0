import { batch, computed, effect, signal, type ReadonlySignal, type Signal } from '@preact/signals'
import { emptyQuestion, readAddress, writeAddress, type Camera, type Question, type State } from './address'
import { ranking, sites as askSites } from '../service'
import type { SiteProps } from '../service'
import { tell } from '../ui/toast'

const first = readAddress(location.search)

// What the page shows. Whoever sets one of these changes the address too.
export const view = signal(first.view)
export const site = signal(first.site)
export const question = signal<Question>(first.question)
export const asOf = signal(first.asOf) // a day or an instant; empty for now
export const tree = signal<number | null>(first.tree) // that is opened
export const camera = signal<Camera | null>(first.camera)
export const hour = signal<number | null>(first.hour)
const more = signal(first.more)

// What is pointed at, in the list or on the map. It is no part of the address.
export const hovered = signal<number | null>(null)

// edited counts the edits that were made from here: what is shown is asked again.
export const edited = signal(0)

export const sites = signal<(SiteProps & { id: number })[] | null>(null) // null until known
export const sitesTrouble = signal('') // why they cannot be known

// Whether there is no such site as is asked for, or none at all.
export const noSite = computed(() => !!sites.value && !sitesTrouble.value && !sites.value.some((s) => s.name === site.value))

// Whether what is derived of the site's trees has been computed yet; nothing is
// asked or drawn before.
export const ready = signal(false)

const state: ReadonlySignal<State> = computed(() => ({
  view: view.value, site: site.value, question: question.value, asOf: asOf.value, tree: tree.value, camera: camera.value, hour: hour.value, more: more.value,
}))

// param is a value of a view's own that is kept in the address under its name,
// which has a dot in it: param('work.year').
const made = new Map<string, Signal<string>>()
export function param(name: string, without = ''): Signal<string> {
  if (!name.includes('.')) throw new Error(`a view's parameter has a dot in its name, not ${name}`)
  let s = made.get(name)
  if (!s) {
    const own = signal(more.value[name] ?? without)
    made.set(name, own)
    defaults.set(name, without)
    effect(() => {
      const v = own.value
      const now = more.peek()
      if ((now[name] ?? without) === v) return
      const { [name]: _, ...rest } = now
      more.value = v === without ? rest : { ...rest, [name]: v }
    })
    s = own
  }
  return s
}
const defaults = new Map<string, string>()

// ask changes parts of the question.
export function ask(parts: Partial<Question>) {
  batch(() => {
    question.value = { ...question.value, ...parts }
    tree.value = null
  })
}
export const askNothing = () => ask(emptyQuestion)

// linkTo is the address of the page with some of its state otherwise.
export const linkTo = (parts: Partial<State>) => location.pathname + writeAddress({ ...state.value, ...parts })

function take(s: State) {
  batch(() => {
    view.value = s.view
    site.value = s.site
    question.value = s.question
    asOf.value = s.asOf
    tree.value = s.tree
    camera.value = s.camera
    hour.value = s.hour
    more.value = s.more
    for (const [name, own] of made) own.value = s.more[name] ?? defaults.get(name) ?? ''
  })
}

// keepAddress writes every change into the address: a step back undoes it, but for
// where the map is and the hour, which change too often for that.
export function keepAddress() {
  let last = ''
  let settled = false
  const still = (s: State) => writeAddress({ ...s, camera: null, hour: null })
  effect(() => {
    const s = state.value
    const now = still(s)
    const to = location.pathname + writeAddress(s) + location.hash
    if (!settled || now === last) history.replaceState(null, '', to)
    else history.pushState(null, '', to)
    settled = settled || s.site !== ''
    last = now
  })
  addEventListener('popstate', () => {
    const s = readAddress(location.search)
    last = still(s)
    take(s)
  })
  void findSites()
}

// The first question about a site makes its first run.
effect(() => {
  const s = sites.value?.find((s) => s.name === site.value)
  if (!s || s.computed_at) {
    ready.value = !!s
    return
  }
  const asking = new AbortController()
  ready.value = false
  ranking({ site: s.name, limit: 1 }, asking.signal).then(() => { ready.value = true }, (err: Error) => {
    if (!asking.signal.aborted) tell(err.message, 'error')
  })
  return () => asking.abort()
})

// lookAnew asks for the sites again, and for what is shown of one: much was loaded.
export async function lookAnew() {
  ready.value = false
  await findSites()
}

async function findSites() {
  try {
    const { features } = await askSites()
    const found = features.map((f) => ({ ...f.properties, id: f.id }))
    batch(() => {
      sites.value = found
      sitesTrouble.value = ''
      if (!site.value && found[0]) site.value = found[0].name
    })
  } catch (err) {
    batch(() => {
      sitesTrouble.value = (err as Error).message
      sites.value ??= []
    })
    tell((err as Error).message, 'error')
  }
}
