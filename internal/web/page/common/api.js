// What the page asks of the program: the routes of docs/desk.md.

/** A request that was refused or did not arrive. */
export class Refused extends Error {
  /** @param {string} message @param {string} hint what to do next, "" unknown @param {number} status 0: nobody answered */
  constructor(message, hint, status) {
    super(message)
    this.hint = hint
    this.status = status
  }
}

/** Whether a request was only cancelled. @param {unknown} err */
export const cancelled = (err) => err instanceof DOMException && err.name === 'AbortError'

/**
 * Asks and answers the response; throws Refused.
 * @param {string} path
 * @param {RequestInit} [init]
 */
async function ask(path, init) {
  let res
  try {
    res = await fetch(path, init)
  } catch (err) {
    if (cancelled(err)) throw err
    throw new Refused('Earshot does not answer', 'see whether it still runs where you started it', 0)
  }
  if (res.ok) return res
  const said = await res.json().catch(() => ({}))
  throw new Refused(said.error || `${path}: status ${res.status}`, said.hint || '', res.status)
}

/** @param {string} path @param {AbortSignal} [signal] */
const get = async (path, signal) => (await ask(path, { signal })).json()

/** @param {string} method @param {string} path @param {unknown} [body] @param {AbortSignal} [signal] */
async function send(method, path, body, signal) {
  const res = await ask(path, { method, signal, headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body ?? {}) })
  const text = await res.text()
  return text ? JSON.parse(text) : null
}

/** @param {Record<string, string | number | undefined>} members "?a=1&b=2" of those that are there */
function query(members) {
  const q = new URLSearchParams()
  for (const [k, v] of Object.entries(members)) if (v !== undefined) q.set(k, String(v))
  return q.size ? `?${q}` : ''
}

/**
 * Waits until a small copy is made, which asking for it begins; no connection is held meanwhile.
 * @param {string} url @param {AbortSignal} [signal]
 */
async function copied(url, signal) {
  for (let wait = 300; ; wait = Math.min(2000, 1.4 * wait)) {
    const res = await ask(url, { signal, headers: { Range: 'bytes=0-0' } })
    await res.arrayBuffer()
    if (res.status !== 202) return
    await new Promise((go) => setTimeout(go, wait))
    signal?.throwIfAborted()
  }
}

/** @param {string} kind @param {string} id */
const at = (kind, id) => `/api/${kind}/${encodeURIComponent(id)}`

/** @type {import('../types').API} */
export const api = {
  state: () => get('/api/state'),
  detail: (id, sound, signal) => get(at('takes', id) + query({ sound }), signal),
  word: (id, change) => send('PATCH', at('takes', id) + '/word', change),
  words: (words) => send('PATCH', '/api/words', { words }),
  undo: () => send('POST', '/api/undo'),
  redo: () => send('POST', '/api/redo'),
  measure: (id, near, signal) => send('POST', at('takes', id) + '/measure', near, signal),

  places: (signal) => get('/api/places', signal),
  folder: (path, signal) => get('/api/places' + query({ path }), signal),
  add: (paths) => send('POST', '/api/paths', { add: paths }),
  remove: (paths) => send('POST', '/api/paths', { remove: paths }),
  dropped: (file, signal) => ask('/api/dropped/' + encodeURIComponent(file.name), { method: 'POST', body: file, signal, headers: { 'Content-Type': 'application/octet-stream' } }),
  demo: () => send('POST', '/api/demo'),

  async peaks(id, which, signal) {
    const res = await ask(at('recordings', id) + '/peaks' + query(which), { signal })
    const view = new DataView(await res.arrayBuffer())
    const n = Math.floor(view.byteLength / 6)
    const low = new Int16Array(n), high = new Int16Array(n), rms = new Uint16Array(n)
    for (let k = 0; k < n; k++) {
      low[k] = view.getInt16(6 * k, true)
      high[k] = view.getInt16(6 * k + 2, true)
      rms[k] = view.getUint16(6 * k + 4, true)
    }
    return { low, high, rms, of: Number(res.headers.get('Earshot-Bins')) }
  },
  async samples(id, which, signal) {
    const res = await ask(at('recordings', id) + '/samples' + query(which), { signal })
    return { samples: new Float32Array(await res.arrayBuffer()), rate: Number(res.headers.get('Earshot-Rate')) }
  },
  mirror: async (id, n, signal) => new Uint8Array(await (await ask(at('takes', id) + `/mirror?n=${n}`, { signal })).arrayBuffer()),
  stillURL: (id, atS, w) => at('recordings', id) + `/still?at=${atS}&w=${w}`,
  blob: async (url, signal) => (await ask(url, { signal })).blob(),
  strip: (id, which, signal) => get(at('recordings', id) + '/strip' + query(which), signal),
  fileURL: (id) => at('recordings', id) + '/file',
  pictureURL: (id) => at('recordings', id) + '/picture',
  copied,
  makePicture: (id, signal) => send('POST', at('recordings', id) + '/picture', undefined, signal),

  listen: (id, which, signal) => ask(at('takes', id) + '/listen' + query(which), { signal, cache: 'no-store' }),
  loudness: (id, sound, signal) => get(at('takes', id) + '/loudness' + query({ sound }), signal),

  marry: (choices) => send('POST', '/api/marry', choices),
  stopMarrying: () => send('DELETE', '/api/marry'),
  marriedURL: (id) => at('married', id) + '/file',
  marriedPictureURL: (id) => at('married', id) + '/picture',
  reveal: (what) => send('POST', '/api/reveal', what),
  quit: () => send('POST', '/api/quit'),
}

/** @typedef {import('../types').API} API */

/** So long after nobody sees the page it follows no more, in ms: a browser has six connections in all, and each page open would keep one. */
const UNSEEN = 20_000

/**
 * Follows what changes, while somebody sees the page. Reconnects by itself, from where it was.
 * @param {() => number} since the version that is known
 * @param {(patch: import('../types').Patch) => void} change
 * @param {(lost: boolean) => void} lost
 * @returns {() => void} ends it
 */
export function follow(since, change, lost) {
  /** @type {EventSource | undefined} */
  let source
  let timer = 0
  let wait = 500
  const close = () => {
    clearTimeout(timer)
    source?.close()
    source = undefined
  }
  const open = () => {
    close()
    source = new EventSource(`/api/events?since=${since()}`)
    source.onopen = () => {
      wait = 500
      lost(false)
    }
    source.addEventListener('change', (e) => change(JSON.parse(/** @type {MessageEvent} */ (e).data)))
    source.onerror = () => {
      close()
      lost(true)
      timer = window.setTimeout(open, wait)
      wait = Math.min(8000, wait * 1.6)
    }
  }
  const onSeen = () => {
    clearTimeout(timer)
    if (document.hidden) timer = window.setTimeout(close, UNSEEN)
    else if (!source) open()
  }
  document.addEventListener('visibilitychange', onSeen)
  open()
  return () => {
    document.removeEventListener('visibilitychange', onSeen)
    close()
  }
}
