import { useEffect, useState } from 'preact/hooks'
import { isAbort } from './client'

export interface Answer<T> { value: T | null; error: string; busy: boolean }

// useAnswer asks again whenever what it depends on changes, and gives up what it
// asked before. The last value stays while the next is on its way.
export function useAnswer<T>(ask: ((signal: AbortSignal) => Promise<T>) | null, deps: readonly unknown[]): Answer<T> {
  const [answer, set] = useState<Answer<T>>({ value: null, error: '', busy: !!ask })
  useEffect(() => {
    if (!ask) return set({ value: null, error: '', busy: false })
    const asking = new AbortController()
    set((a) => ({ ...a, busy: true }))
    ask(asking.signal).then(
      (value) => !asking.signal.aborted && set({ value, error: '', busy: false }),
      (err: Error) => !isAbort(err) && !asking.signal.aborted && set({ value: null, error: err.message, busy: false }),
    )
    return () => asking.abort()
  }, deps)
  return answer
}
