import type { Theme } from '../state/theme'

// Colours of the map. Each ramp differs in lightness, so that it reads without
// colour: rank in blues, how busy a place is in browns. A tree that is picked is
// outlined in ink besides.
export interface Look {
  ground: string; ink: string; edge: string; chosen: string; zone: string; area: string
  rank: readonly [string, string, string, string, string] // the last to the first
  rankInk: readonly [string, string, string, string, string] // figures upon them
  busy: readonly [string, string, string, string, string] // unknown, then the quietest to the busiest
  building: string; line: string; wire: string
}

const looks: Record<Theme, Look> = {
  light: {
    ground: '#fbfaf6', ink: '#1d2733', edge: '#fbfaf6', chosen: '#b4480f', zone: '#8a3a10', area: '#5b3f8f',
    rank: ['#aebfc9', '#7fa3b8', '#4f82a6', '#2b5b8c', '#14305f'],
    rankInk: ['#1d2733', '#1d2733', '#ffffff', '#ffffff', '#ffffff'],
    busy: ['#dcd6c8', '#e3d5b4', '#d3b784', '#b28a55', '#7d5426'],
    building: '#c9c3b6', line: '#a79f8d', wire: '#5f6f7c',
  },
  dark: {
    ground: '#12171c', ink: '#e6e3da', edge: '#12171c', chosen: '#ffb27a', zone: '#f0a36b', area: '#b9a3ea',
    rank: ['#48606e', '#5c8598', '#7db0bf', '#b3d6d5', '#f4f0c6'],
    rankInk: ['#ffffff', '#ffffff', '#12171c', '#12171c', '#12171c'],
    busy: ['#2b323a', '#3b3629', '#5c4c30', '#84673b', '#b08b52'],
    building: '#3a424c', line: '#4a5460', wire: '#8fa3b3',
  },
}

export const lookOf = (theme: Theme) => looks[theme]

// steps are the places up to which a tree has a shade, the first first.
export const rankSteps = [10, 100, 1000, 10_000] as const
export const shadeOf = (place: number) => 4 - rankSteps.filter((s) => place > s).length

// busySteps are mean numbers of people present from which a place has a shade.
export const busySteps = [0, 0.1, 1, 10] as const

// hourSteps are numbers of people under a tree in one hour from which it has a
// shade of rank.
export const hourSteps = [0.01, 0.1, 0.5, 2] as const
