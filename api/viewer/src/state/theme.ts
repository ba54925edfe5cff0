import { computed, effect, signal } from '@preact/signals'

// The page follows the system, unless somebody has chosen.
export type Theme = 'light' | 'dark'
const key = 'underbough-theme'
const read = () => { try { return localStorage.getItem(key) } catch { return null } }
const system = matchMedia('(prefers-color-scheme: dark)')
const systemDark = signal(system.matches)
system.addEventListener('change', (e) => { systemDark.value = e.matches })

const stored = read()
export const chosenTheme = signal<Theme | null>(stored === 'light' || stored === 'dark' ? stored : null)
export const theme = computed<Theme>(() => chosenTheme.value ?? (systemDark.value ? 'dark' : 'light'))

effect(() => {
  document.documentElement.dataset.theme = theme.value
  try {
    if (chosenTheme.value) localStorage.setItem(key, chosenTheme.value)
    else localStorage.removeItem(key)
  } catch { /* a browser that keeps nothing */ }
})

export function turnTheme() {
  const next = theme.value === 'dark' ? 'light' : 'dark'
  chosenTheme.value = next === (systemDark.value ? 'dark' : 'light') ? null : next
}
