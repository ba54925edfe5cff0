import { signal } from '@preact/signals'
import type { ComponentType } from 'preact'

// A view is a tab of the top bar with what it shows in the panel beside the map.
export interface ViewSpec {
  id: string // in the address: ?v=work
  title: string
  load: () => Promise<ComponentType> // when it is first shown: the page opens without it
  order: number // of the tabs: Ask 10, Work 20, Places 30, Edit 40, Import 45, Numbers 50
  wide?: boolean // takes the whole window, without the map
}

export const views = signal<readonly ViewSpec[]>([])

// register adds a view. It is called when the view's module is loaded; the module
// is imported in others.ts.
export function register(spec: ViewSpec) {
  if (views.value.some((v) => v.id === spec.id)) throw new Error(`two views are called ${spec.id}`)
  views.value = [...views.value, spec].sort((a, b) => a.order - b.order)
}
