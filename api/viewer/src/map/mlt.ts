// Stands for the map library's decoder of a second tile format, which the
// service does not serve and the page is lighter without.

export const GEOMETRY_TYPE: Record<string, number> = {}

export function decodeTile(): never {
  throw new Error('the page draws Mapbox vector tiles only')
}
