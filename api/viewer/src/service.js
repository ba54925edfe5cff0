// Asks the service; every address lies below the page's own.

const base = document.documentElement.dataset.base

// get returns the answer as JSON. The error carries the service's own words.
export async function get(path, parameters = {}, signal) {
  const query = new URLSearchParams(parameters).toString()
  return fetchJSON(`${base}${path}${query ? '?' + query : ''}`, signal)
}

async function fetchJSON(address, signal) {
  const response = await fetch(address, { signal, headers: { Accept: 'application/geo+json, application/json' } })
  if (!response.ok) {
    const problem = await response.json().catch(() => ({}))
    throw new Error(problem.detail || `the service answered ${response.status}`)
  }
  return response.json()
}

// pages gathers the features of a collection over a few pages; whole tells
// whether that is all of them.
export async function pages(path, parameters, most, signal) {
  let page = await get(path, parameters, signal)
  const features = page.features
  for (let n = 1; n < most; n++) {
    const next = page.links.find((l) => l.rel === 'next')
    if (!next) return { features, whole: true }
    // The link may name the service by another host; the page keeps to its own.
    const query = new URL(next.href).searchParams
    page = await get(path, Object.fromEntries(query), signal)
    features.push(...page.features)
  }
  return { features, whole: !page.links.some((l) => l.rel === 'next') }
}
