import type { Map } from 'maplibre-gl'
import { lookOf, shadeOf } from './look'
import { theme } from '../state/theme'

// A mark of our own for the first trees of an answer: a kite that stands with its
// tip on the tree, with the tree's place in it. The map has no letters, so that it
// needs none from elsewhere: the figure is part of the picture.

export const kite = (place: number) => `kite-${place}-${theme.value}`

// A plate with its number is the mark of a listed place.
export const plate = (place: number) => `plate-${place}-${theme.value}`

const scale = 2

export function drawKites(map: Map) {
  map.setMissingStyleImageResolver((id) => {
    const m = /^(kite|plate)-(\d+)-(light|dark)$/.exec(id)
    if (!m || map.hasImage(id)) return
    map.addImage(id, picture(Number(m[2]), lookOf(m[3] as 'light' | 'dark'), m[1] === 'plate'), { pixelRatio: scale })
  })
}

function picture(place: number, look: ReturnType<typeof lookOf>, flat: boolean): ImageData {
  const r = place <= 20 ? 13 : 7
  const w = Math.ceil((1.7 * r + 4) * scale), h = Math.ceil((2.4 * r + 4) * scale)
  const canvas = document.createElement('canvas')
  canvas.width = w
  canvas.height = h
  const c = canvas.getContext('2d', { willReadFrequently: true })!
  c.scale(scale, scale)
  const x = w / scale / 2, tip = h / scale - 1.5
  c.beginPath()
  if (flat) c.rect(x - 10, tip - 1.4 * r - 9, 20, 18)
  else {
    c.moveTo(x, tip)
    c.lineTo(x - 0.85 * r, tip - 1.4 * r)
    c.lineTo(x, tip - 2.3 * r)
    c.lineTo(x + 0.85 * r, tip - 1.4 * r)
    c.closePath()
  }
  const shade = shadeOf(place)
  c.fillStyle = flat ? look.ground : look.rank[shade]!
  c.strokeStyle = flat ? look.ink : look.edge
  c.lineWidth = 1.5
  c.fill()
  c.stroke()
  if (place <= 20) {
    c.fillStyle = flat ? look.ink : look.rankInk[shade]!
    c.font = 'bold 11px "Liberation Sans", Arial, sans-serif'
    c.textAlign = 'center'
    c.fillText(String(place), x, tip - 1.4 * r + 4)
  }
  return c.getImageData(0, 0, w, h)
}
