import { signal, type Signal } from '@preact/signals'
import { plural } from '../ui/words'
import type { Moves } from './plan'

// Puts are the trees that were left out and are to be put into a year.
export type Puts = Readonly<Record<string, number>> // tag: year

// Hand is what somebody has moved in a programme and not worked out again; it stays
// for as long as the page is open.
interface Hand { moves: Signal<Moves>; puts: Signal<Puts>; before: Signal<readonly Moves[]> }
const hands = new Map<number, Hand>()

export function handOf(programme: number): Hand {
  let h = hands.get(programme)
  if (!h) hands.set(programme, h = { moves: signal({}), puts: signal({}), before: signal([]) })
  return h
}

export const letGo = (h: Hand) => { h.moves.value = {}; h.puts.value = {}; h.before.value = [] }

// inHand says what is moved; empty where nothing is.
export function inHand({ moves, puts }: Hand): string {
  const n = Object.keys(moves.value).length, put = Object.keys(puts.value).length
  return n || put ? `${[n ? `${plural(n, 'tree', 'trees')} moved` : '', put ? `${plural(put, 'tree', 'trees')} that ${put === 1 ? 'was' : 'were'} left out put into a year` : ''].filter(Boolean).join(', ')}; nothing is kept yet.` : ''
}

addEventListener('beforeunload', (e) => { if ([...hands.values()].some(inHand)) e.preventDefault() })
