import type { ExpressionSpecification } from 'maplibre-gl'
import type { Row } from '../answer/answer'
import { rankSteps, type Look } from './look'

const threeDigits = (v: number, down: boolean) => {
  if (v <= 0) return 0
  const unit = 10 ** (Math.floor(Math.log10(v)) - 2)
  return (down ? Math.floor(v / unit * (1 + 1e-12)) : Math.ceil(v / unit)) * unit
}

// above is the next value of three digits.
const above = (v: number) => v <= 0 ? 1e-30 : v + 10 ** (Math.floor(Math.log10(v) + 1e-12) - 2)

// by is the value in the tiles that an order goes by.
export const valueOf = (by: string) => by === 'exposure' ? 'people' : 'harm_index'

// shadeBy colours trees in the tiles by their place in the answer: the value of
// the tenth, the hundredth and so on are where a shade begins. Tiles hold values
// to three digits.
export function shadeBy(rows: readonly Row[], by: string, look: Look): ExpressionSpecification | string {
  if (by === 'rating') return ['match', ['coalesce', ['get', 'rating'], ''], 'extreme', look.rank[4], 'high', look.rank[3], 'moderate', look.rank[2], 'low', look.rank[1], look.rank[0]]
  const value = valueOf(by)
  const begins: number[] = []
  for (const step of rankSteps) {
    const row = rows[Math.min(step, rows.length) - 1]
    if (!row) break
    begins.push(threeDigits(row.p[value] ?? 0, true))
    if (step >= rows.length) break
  }
  // From the last to the first. Where the tenth is as bad as the hundredth, only
  // what is worse has the shade of the first ten.
  const out: (string | number)[] = []
  let last = -Infinity
  const from = begins.length
  begins.reverse().forEach((v, i) => {
    const shade = look.rank[4 - (from - 1 - i)]!
    const begin = v > last ? v : above(v)
    if (begin > last) {
      out.push(begin, shade)
      last = begin
    } else out[out.length - 1] = shade
  })
  if (!out.length) return look.rank[2]
  return ['step', ['coalesce', ['get', value], 0], look.rank[Math.max(0, 4 - from)]!, ...out] as unknown as ExpressionSpecification
}
