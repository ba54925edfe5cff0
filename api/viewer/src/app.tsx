import { signal, useSignal } from '@preact/signals'
import type { ComponentType } from 'preact'
import { useEffect, useState } from 'preact/hooks'
import { MapView } from './map/view'
import { base } from './service'
import { asOf, lookAnew, noSite, site, sites, sitesTrouble, tree, view } from './state/store'
import { theme, turnTheme } from './state/theme'
import { Button, Tabs, Trouble } from './ui/parts'
import { Toasts } from './ui/toast'
import { views, type ViewSpec } from './views'

// How high the sheet stands that the panel is on a phone.
const sheet = signal<'low' | 'half' | 'full'>('half')

export function App() {
  const list = views.value
  const shown = list.find((v) => v.id === view.value) ?? list[0]!
  // Without a site there is nothing to ask of, nor a map: records come in all the same.
  const lacking = shown.id !== 'import' && shown.id !== 'edit' && shown.id !== 'field' && (noSite.value || sitesTrouble.value !== '' && !sites.value?.length)
  const wide = shown.wide || lacking
  useEffect(() => { document.title = `${shown.title} – Underbough` }, [shown])
  return (
    <>
      <a class="skip" href="#panel" onClick={(e) => { e.preventDefault(); document.getElementById('panel')?.focus() }}>To the {shown.title.toLowerCase()} panel</a>
      <Bar current={shown.id} />
      <Cautions />
      <main class={wide ? 'wide' : ''} data-sheet={sheet.value}>
        {!wide && <MapView />}
        <section id="panel" role="tabpanel" aria-labelledby={`tab-${shown.id}`} tabIndex={-1}>
          {!wide && <Handle />}
          <div class="scroll" data-scroll tabIndex={0} role="region" aria-label={shown.title} key={shown.id}>{lacking ? <NoSite /> : <Loaded of={shown} />}</div>
        </section>
      </main>
      <Toasts />
    </>
  )
}

// NoSite says that there is none, or none of this name, and what to do.
function NoSite() {
  const all = sites.value ?? []
  if (!all.length && sitesTrouble.value) return <div class="pad"><Trouble text={sitesTrouble.value} /><Button onClick={() => void lookAnew()}>Try again</Button></div>
  return (
    <section id="no-site" class="pad">
      <h2>{all.length ? `There is no site called ${site.value}` : 'No site yet'}</h2>
      {all.length ? <><p>These there are:</p><ul class="records">{all.map((s) => <li key={s.id}><button type="button" class="link" onClick={() => { site.value = s.name; tree.value = null }}>{s.name}</button></li>)}</ul></>
        : <><p>The inventory is empty. Load a file of trees or of places first: its site is made with it.</p><Button look="main" onClick={() => { view.value = 'import' }}>Import a file</Button></>}
    </section>
  )
}

// Loaded shows a view, which comes in a part of its own.
const parts = new Map<string, ComponentType>()
function Loaded({ of }: { of: ViewSpec }) {
  const View = parts.get(of.id)
  const failed = useSignal('')
  const tries = useSignal(0)
  const [, again] = useState(0)
  useEffect(() => {
    if (View) return
    failed.value = ''
    of.load().then((c) => { parts.set(of.id, c); again((n) => n + 1) }, () => { failed.value = `The part of the page that shows ${of.title.toLowerCase()} cannot be loaded: the service cannot be reached.` })
  }, [of, tries.value])
  if (View) return <View />
  return failed.value ? <><Trouble text={failed.value} /><Button onClick={() => { tries.value++ }}>Try again</Button></> : <p class="soft" role="status">…</p>
}

function Bar({ current }: { current: string }) {
  const all = sites.value
  return (
    <header id="bar">
      <h1><a href={`${base}/?f=html`} title="What is served here">Underbough</a></h1>
      <Tabs label="Views" panel="panel" current={current} tabs={views.value.map((v) => [v.id, v.title] as const)} onChange={(v) => { view.value = v }} />
      <div class="right">
        {all && all.length > 0 && (
          <label class="site"><span class="hidden">Site</span>
            <select value={site.value} onChange={(e) => { site.value = e.currentTarget.value; tree.value = null }}>
              {!all.some((s) => s.name === site.value) && <option value={site.value} disabled>choose a site</option>}
              {all.map((s) => <option key={s.id} value={s.name}>{s.name}</option>)}
            </select>
          </label>
        )}
        {all?.length === 0 && <p role="status">{sitesTrouble.value || 'No site yet: import a file first.'}</p>}
        {asOf.value && <button type="button" class="usual as-of" onClick={() => { asOf.value = '' }}>as of {asOf.value} ×</button>}
        <button type="button" class="plain" aria-pressed={theme.value === 'dark'} aria-label="Dark" onClick={turnTheme}><span aria-hidden="true">◐</span></button>
      </div>
    </header>
  )
}

// The first sentence is always in sight; the rest opens.
function Cautions() {
  const text = document.documentElement.dataset.cautions ?? ''
  const end = text.indexOf('. ') + 1
  return <aside id="cautions" aria-label="Cautions"><details><summary>{end > 0 ? text.slice(0, end) : text}</summary>{end > 0 && <p>{text.slice(end + 1)}</p>}</details></aside>
}

function Handle() {
  const next = sheet.value === 'half' ? 'full' : sheet.value === 'full' ? 'low' : 'half'
  return (
    <button type="button" class="handle" aria-label={`Panel: ${sheet.value === 'low' ? 'raise' : sheet.value === 'half' ? 'raise to the full height' : 'lower'}`} onClick={() => { sheet.value = next }}>
      <span aria-hidden="true" />
    </button>
  )
}
