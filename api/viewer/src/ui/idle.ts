// whenIdle does what can wait: when the browser has nothing else to do, and soon
// where a browser cannot tell.
export function whenIdle(work: () => void) {
  if ('requestIdleCallback' in window) requestIdleCallback(() => work(), { timeout: 500 })
  else setTimeout(work, 50)
}
