// Requests for what is seen: few at a time, the latest wish first, and given
// up when it is out of sight.

/**
 * @param {number} limit  how many run at a time
 */
export function createQueue(limit) {
  /** @type {Map<string, (signal: AbortSignal) => Promise<void>>} */
  const waiting = new Map()
  /** @type {Map<string, AbortController>} */
  const running = new Map()

  function next() {
    while (running.size < limit && waiting.size) {
      const [key, job] = /** @type {[string, (signal: AbortSignal) => Promise<void>]} */ ([...waiting].at(-1))
      waiting.delete(key)
      const stop = new AbortController()
      running.set(key, stop)
      job(stop.signal).catch(() => {}).finally(() => {
        if (running.get(key) === stop) running.delete(key)
        next()
      })
    }
  }

  return {
    /** Wants a job done, unless the same is under way. @param {string} key @param {(signal: AbortSignal) => Promise<void>} job */
    want(key, job) {
      if (running.has(key)) return
      waiting.delete(key)
      waiting.set(key, job)
      next()
    },
    /** Gives up what is not in keep. @param {Set<string>} keep */
    keep(keep) {
      for (const key of waiting.keys()) if (!keep.has(key)) waiting.delete(key)
      for (const [key, stop] of running) {
        if (keep.has(key)) continue
        running.delete(key)
        stop.abort()
      }
      next()
    },
    get size() {
      return waiting.size + running.size
    },
  }
}
