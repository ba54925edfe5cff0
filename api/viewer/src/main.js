import 'leaflet/dist/leaflet.css'
import './style.css'
import { createList } from './list.js'
import { createMap } from './map.js'
import * as look from './look.js'
import { get, pages } from './service.js'

const status = document.getElementById('status')
const form = document.getElementById('question')
const asked = new URLSearchParams(location.search)

function say(text) {
  status.textContent = text
}

function offer(name, choices, chosen) {
  const select = form.elements[name]
  // What the address asks for is offered even where it is none of ours.
  if (chosen && !choices.some(([v]) => v === chosen)) choices = [...choices, [chosen, look.word(chosen).replaceAll(',', ', ')]]
  for (const [value, text] of choices) select.append(new Option(text, value, false, value === chosen))
}

async function fillForm() {
  const { features } = await pages('/collections/sites/items', { limit: 1000 }, 1)
  const names = features.map((f) => f.properties.name)
  offer('site', names.map((n) => [n, n]), asked.get('site') || names[0])
  offer('over', [['', 'any place'], ['parking,walkway', 'parking or walkway'], ...look.kinds.map((k) => [k, look.word(k)])], asked.get('over') || '')
  offer('cut', [['', 'any kind'], ...['topping', 'heading', 'lion-tailing', 'flush', 'stub'].map((k) => [k, k])], asked.get('cut') || '')
  offer('by', [['harm', 'expected harm'], ['exposure', 'exposure'], ['rating', 'rating']], asked.get('by') || 'harm')
  offer('limit', ['50', '100', '500', '2000'].map((n) => [n, n]), asked.get('limit') || '100')
  return names
}

function question() {
  const out = {}
  for (const name of ['site', 'over', 'cut', 'by', 'limit', 'since']) {
    const value = form.elements[name] ? form.elements[name].value : asked.get(name)
    if (value) out[name] = value
  }
  return out
}

form.addEventListener('submit', (e) => {
  e.preventDefault()
  location.search = new URLSearchParams(question())
})

// legend explains the marks, the targets and the zones.
function legend() {
  const ramp = document.createElement('span')
  ramp.className = 'ramp'
  for (const colour of look.steps()) {
    const step = document.createElement('i')
    step.style.backgroundColor = colour
    ramp.append(step)
  }
  const words = (t) => Object.assign(document.createElement('span'), { textContent: t })
  document.getElementById('ranks').replaceChildren(words('last'), ramp, words('first in rank'))
  const key = (style, text, filled = false) => {
    const item = document.createElement('li')
    const sample = document.createElement('i')
    const line = style.dashArray?.startsWith('1') || style.dashArray?.startsWith('2') ? 'dotted' : style.dashArray ? 'dashed' : 'solid'
    const edge = `${Math.max(style.weight, 2)}px ${line} ${style.color}`
    if (filled) Object.assign(sample.style, { border: edge, height: '.7rem', backgroundColor: style.fillColor })
    else sample.style.borderTop = edge
    item.append(sample, text)
    return item
  }
  document.getElementById('key').replaceChildren(
    key(look.zone('whole tree'), 'reach of the whole tree'), key(look.zone('crown'), 'under the crown'), key(look.zone('limb'), 'under a limb with a cut', true),
    ...['parking', 'walkway', 'road', 'building', 'utility_line', 'other'].map((k) => key(look.target(k), look.word(k), k === 'parking' || k === 'building')),
  )
}

const choose = (id) => {
  for (const view of [list, map]) view.choose(id).catch((err) => say(err.message))
}
const list = createList(document.getElementById('list'), choose)
const map = createMap(document.getElementById('map'), choose)

async function start() {
  legend()
  const sites = await fillForm()
  if (!sites.length) return say('No site yet: import a file first.')
  const answer = await get('/ranking', question())
  list.show(answer.features)
  map.show(answer.features)
  look.onThemeChange(() => {
    legend()
    list.show(answer.features)
  })
  const of = answer.numberMatched > answer.numberReturned ? ` of ${answer.numberMatched.toLocaleString('en')}` : ''
  say(answer.features.length ? `${answer.numberReturned}${of} ${answer.numberMatched === 1 ? 'tree' : 'trees'}, the most at stake first` : 'No tree answers this question.')
}

start().catch((err) => say(err.message))
