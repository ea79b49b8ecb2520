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

/** @param {string} kind @param {string} id */
const at = (kind, id) => `/api/${kind}/${encodeURIComponent(id)}`

/** @typedef {import('./types').Line} Line */
/** @typedef {AbortSignal | undefined} Signal */

export const api = {
  /** @returns {Promise<import('./types').State>} */
  state: () => get('/api/state'),
  /** @param {string} id @param {string} [sound] @param {AbortSignal} [signal] @returns {Promise<import('./types').Detail>} */
  detail: (id, sound, signal) => get(at('takes', id) + query({ sound }), signal),
  /** Says something of a clip; answers its take, null where it has none any more. @param {string} id @param {import('./types').Change} change @returns {Promise<import('./types').Take | null>} */
  word: (id, change) => send('PATCH', at('takes', id) + '/word', change),
  /** @returns {Promise<import('./types').Step | null>} */
  undo: () => send('POST', '/api/undo'),
  /** @returns {Promise<import('./types').Step | null>} */
  redo: () => send('POST', '/api/redo'),
  /** @param {string} id @param {{sound: string, at_s: number, sound_s: number}} near @param {AbortSignal} [signal] @returns {Promise<{found: import('./types').Detail | null, why: string}>} */
  measure: (id, near, signal) => send('POST', at('takes', id) + '/measure', near, signal),

  /** Without a path: where folders may be looked for. @param {string} [path] @param {AbortSignal} [signal] @returns {Promise<any>} */
  places: (path, signal) => get('/api/places' + query({ path }), signal),
  /** @param {string[]} add @param {string[]} [remove] */
  paths: (add, remove) => send('POST', '/api/paths', { add, remove: remove ?? [] }),
  /** @param {File} file @param {AbortSignal} [signal] */
  dropped: (file, signal) => ask('/api/dropped/' + encodeURIComponent(file.name), { method: 'POST', body: file, signal, headers: { 'Content-Type': 'application/octet-stream' } }),
  demo: () => send('POST', '/api/demo'),

  /**
   * Bins of a wave: low[k], high[k] int16 and rms[k] uint16, full scale 32767. of: how many there are at the level.
   * @param {string} id
   * @param {{track?: number, level?: number, from?: number, n?: number}} which
   * @param {AbortSignal} [signal]
   */
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
  /**
   * Mono samples at the track's own rate.
   * @param {string} id
   * @param {{track?: number, from?: number, n?: number}} which frames
   * @param {AbortSignal} [signal]
   */
  async samples(id, which, signal) {
    const res = await ask(at('recordings', id) + '/samples' + query(which), { signal })
    return { samples: new Float32Array(await res.arrayBuffer()), rate: Number(res.headers.get('Earshot-Rate')) }
  },
  /** n columns of four: body peak, body level, scratch peak, scratch level, 0 to 255. @param {string} id @param {number} n @param {AbortSignal} [signal] */
  mirror: async (id, n, signal) => new Uint8Array(await (await ask(at('takes', id) + `/mirror?n=${n}`, { signal })).arrayBuffer()),
  /** @param {string} id @param {number} atS @param {number} w */
  stillURL: (id, atS, w) => at('recordings', id) + `/still?at=${atS}&w=${w}`,
  /** @param {string} url @param {AbortSignal} [signal] */
  blob: async (url, signal) => (await ask(url, { signal })).blob(),
  /** @param {string} id @param {{at: number, n?: number, w?: number}} which @param {AbortSignal} [signal] @returns {Promise<import('./types').Strip>} */
  strip: (id, which, signal) => get(at('recordings', id) + '/strip' + query(which), signal),
  /** @param {string} id */
  fileURL: (id) => at('recordings', id) + '/file',
  /** @param {string} id */
  pictureURL: (id) => at('recordings', id) + '/picture',
  /** Makes the small picture ahead. @param {string} id @param {AbortSignal} [signal] */
  makePicture: (id, signal) => send('POST', at('recordings', id) + '/picture', undefined, signal),

  /**
   * Both microphones on the clip's clock: a stream of interleaved float32 at 48000 Hz.
   * @param {string} id
   * @param {{from?: number, to?: number, sound?: string, offset?: number, drift?: number}} which frames; drift in ppm
   * @param {AbortSignal} [signal]
   */
  listen: (id, which, signal) => ask(at('takes', id) + '/listen' + query(which), { signal, cache: 'no-store' }),
  /** @param {string} id @param {string} [sound] @param {AbortSignal} [signal] @returns {Promise<import('./types').Loudness>} */
  loudness: (id, sound, signal) => get(at('takes', id) + '/loudness' + query({ sound }), signal),

  /** @param {import('./types').MarryAsk} choices */
  marry: (choices) => send('POST', '/api/marry', choices),
  stopMarrying: () => send('DELETE', '/api/marry'),
  /** @param {string} id */
  marriedURL: (id) => at('married', id) + '/file',
  /** @param {string} id */
  marriedPictureURL: (id) => at('married', id) + '/picture',
  /** @param {{what?: 'married', take?: string}} what */
  reveal: (what) => send('POST', '/api/reveal', what),
  quit: () => send('POST', '/api/quit'),
}

/** @typedef {typeof api} API */

/**
 * Follows what changes. Reconnects by itself, from where it was.
 * @param {() => number} since the version that is known
 * @param {(patch: import('./types').Patch) => void} change
 * @param {(lost: boolean) => void} lost
 * @returns {() => void} ends it
 */
export function follow(since, change, lost) {
  /** @type {EventSource | undefined} */
  let source
  let timer = 0
  let wait = 500
  const open = () => {
    source = new EventSource(`/api/events?since=${since()}`)
    source.onopen = () => {
      wait = 500
      lost(false)
    }
    source.addEventListener('change', (e) => change(JSON.parse(/** @type {MessageEvent} */ (e).data)))
    source.onerror = () => {
      source?.close()
      lost(true)
      timer = window.setTimeout(open, wait)
      wait = Math.min(8000, wait * 1.6)
    }
  }
  open()
  return () => {
    source?.close()
    clearTimeout(timer)
  }
}
