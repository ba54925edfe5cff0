// Stands for parts of the map library that this page never comes to and is
// lighter without: the decoder of a second tile format, which the service does not
// serve, and the order of letters in lines of text, which the map does not write.

export const GEOMETRY_TYPE: Record<string, number> = {}

export function decodeTile(): never {
  throw new Error('the page draws Mapbox vector tiles only')
}

export default () => ({})
