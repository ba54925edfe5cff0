import { signal, type ReadonlySignal } from '@preact/signals'
import type { LayerSpecification, SourceSpecification } from 'maplibre-gl'
import type { Look } from './look'

// Drawing is what a view adds to the map: sources and layers, whose names begin
// with the drawing's id. They are drawn above the places and below the trees,
// unless above is set.
export interface Drawing {
  sources: Record<string, SourceSpecification>
  layers: (look: Look) => LayerSpecification[]
  above?: boolean
}

export const drawings = signal<ReadonlyMap<string, ReadonlySignal<Drawing | null>>>(new Map())

// addDrawing puts a drawing on the map, which follows the signal; null draws
// nothing. It returns what takes the drawing away.
export function addDrawing(id: string, drawing: ReadonlySignal<Drawing | null>) {
  drawings.value = new Map(drawings.value).set(id, drawing)
  return () => {
    const rest = new Map(drawings.value)
    if (rest.get(id) === drawing) rest.delete(id)
    drawings.value = rest
  }
}
