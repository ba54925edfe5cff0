import { pages } from './service.js'
import { ranked, word } from './look.js'

const figure = (v) => (v === 0 ? '0' : v >= 100 ? Math.round(v).toLocaleString('en') : v >= 1 ? v.toFixed(1) : v.toPrecision(2))

function make(tag, className, text) {
  const e = document.createElement(tag)
  if (className) e.className = className
  if (text !== undefined) e.textContent = text
  return e
}

function amount(u) {
  const parts = []
  if (u.area_m2 > 0) parts.push(`${figure(u.area_m2)} m²`)
  if (u.length_m > 0) parts.push(`${figure(u.length_m)} m`)
  if (u.points > 0) parts.push(`${u.points}×`)
  return `${word(u.kind)} ${parts.join(' + ')}`
}

// createList shows ranked trees beside the map. choose is called with the id
// of the tree picked in it.
export function createList(list, choose) {
  let rows = new Map()

  list.addEventListener('keydown', (e) => {
    const step = { ArrowDown: 1, ArrowUp: -1 }[e.key]
    const buttons = [...list.querySelectorAll('button')]
    const next = buttons[buttons.indexOf(document.activeElement) + step]
    if (!step || !next) return
    e.preventDefault()
    next.focus()
  })

  function row(f, i, n) {
    const p = f.properties
    const item = make('li')
    const button = make('button')
    button.type = 'button'
    button.setAttribute('aria-pressed', 'false')
    button.addEventListener('click', () => choose(f.id))
    const badge = make('span', 'rank', p.rank)
    // The mark on the map and the number in the list have one shade.
    badge.style.borderColor = ranked(i, n).fill
    const name = make('span', 'name', p.tag || p.source_id || `#${f.id}`)
    const species = make('span', 'species', p.species || p.common_name || 'species not recorded')
    const over = make('span', 'over', p.over.map((kind, i) => amount({ kind, length_m: p.over_length_m[i], area_m2: p.over_area_m2[i], points: p.over_points[i] })).join(', ') || 'nothing recorded')
    const people = make('span', 'people', `${figure(p.person_hours_year)} person-hours a year, ${figure(p.vehicles)} vehicles`)
    const reason = make('span', 'reason', p.reason)
    button.append(badge, name, species, over, people, reason)
    item.append(button)
    return item
  }

  async function open(id) {
    const item = rows.get(id)
    const { features } = await pages('/collections/overlaps/items', { tree_id: id, limit: 200 }, 1)
    if (rows.get(id) !== item || item.querySelector('table')) return
    const table = make('table')
    table.append(make('caption', '', features.length ? 'What each part reaches' : 'No recorded place in reach'))
    const head = make('tr')
    for (const h of ['part', 'place', 'm²', 'm', 'people', 'vehicles']) head.append(make('th', '', h))
    if (features.length) table.append(head)
    for (const { properties: o } of features) {
      const line = make('tr')
      line.append(make('td', '', o.part), make('td', '', `${word(o.kind)} ${o.target_id}`))
      for (const v of [o.area_m2, o.length_m, o.people, o.vehicles]) line.append(make('td', 'number', v ? figure(v) : '–'))
      table.append(line)
    }
    item.append(table)
  }

  return {
    show(features) {
      rows = new Map()
      list.replaceChildren(...features.map((f, i) => {
        const item = row(f, i, features.length)
        rows.set(f.id, item)
        return item
      }))
    },
    async choose(id) {
      for (const [key, item] of rows) {
        item.querySelector('button').setAttribute('aria-pressed', String(key === id))
        if (key !== id) item.querySelector('table')?.remove()
      }
      const item = rows.get(id)
      if (!item) return
      item.scrollIntoView({ block: 'nearest' })
      await open(id)
    },
  }
}
