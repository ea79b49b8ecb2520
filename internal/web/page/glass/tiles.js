// Peaks and samples in tiles: fetched when wanted, nearest first, kept while
// there is room. What is no longer wanted gives way to what is.

import { BINS_PER_TILE, FRAMES_PER_TILE, binSeconds } from './geometry.js'

/**
 * The tiles of one track at one grain.
 * @template {Int16Array | Float32Array} T
 * @typedef {object} Shelf
 * @property {string} key
 * @property {string} url  up to the numbers
 * @property {Map<number, T>} tiles  by index
 * @property {number} count  bins or frames in all
 * @property {number} perTile
 * @property {number} tileSeconds
 * @property {(b: ArrayBuffer) => T} read
 */

/** @typedef {Shelf<Int16Array>} Peaks */
/** @typedef {Shelf<Float32Array>} Samples */
/** @typedef {{shelf: Peaks | Samples, index: number}} Want */

const AT_ONCE = 2 // a browser opens six connections; events, sound and picture hold three or four of them
const RETRY = [1000, 3000, 10000] // ms

export class Tiles {
  /**
   * @param {object} o
   * @param {() => void} o.onTile  something new is there
   * @param {(why: string) => void} o.onTrouble
   * @param {number} [o.limit]  bytes kept
   * @param {typeof fetch} [o.fetch]
   */
  constructor({ onTile, onTrouble, limit = 40e6, fetch: get = (u, i) => fetch(u, i) }) {
    this.onTile = onTile
    this.onTrouble = onTrouble
    this.limit = limit
    this.get = get
    /** @type {Map<string, any>} */
    this.shelves = new Map()
    /** @type {Map<string, {shelf: Peaks | Samples, index: number, bytes: number}>} */
    this.kept = new Map() // in the order of last use
    /** @type {Map<string, {stop: AbortController, wanted: boolean}>} */
    this.coming = new Map()
    /** @type {Map<string, {tries: number, until: number}>} */
    this.failed = new Map()
    /** @type {Want[]} */
    this.queue = []
    this.bytes = 0
    this.closed = false
  }

  /** @param {string} id @param {number} track @param {number} level @param {number} length  seconds @returns {Peaks} */
  peaks(id, track, level, length) {
    const key = `${id}/${track}/${level}`
    return this.shelves.get(key) ?? this.#shelf(key, {
      url: `/api/recordings/${encodeURIComponent(id)}/peaks?track=${track}&level=${level}`,
      count: Math.ceil(length / binSeconds(level) - 1e-6),
      perTile: BINS_PER_TILE,
      tileSeconds: BINS_PER_TILE * binSeconds(level),
      read: (/** @type {ArrayBuffer} */ b) => new Int16Array(b, 0, b.byteLength >> 1),
    })
  }

  /** @param {string} id @param {number} track @param {number} rate  Hz @param {number} length  seconds @returns {Samples} */
  samples(id, track, rate, length) {
    const key = `${id}/${track}/samples`
    return this.shelves.get(key) ?? this.#shelf(key, {
      url: `/api/recordings/${encodeURIComponent(id)}/samples?track=${track}`,
      count: Math.round(length * rate),
      perTile: FRAMES_PER_TILE,
      tileSeconds: FRAMES_PER_TILE / rate,
      read: (/** @type {ArrayBuffer} */ b) => new Float32Array(b, 0, b.byteLength >> 2),
    })
  }

  /** @param {string} key @param {object} rest @returns {any} */
  #shelf(key, rest) {
    const shelf = { key, tiles: new Map(), ...rest }
    this.shelves.set(key, shelf)
    return shelf
  }

  /** Says what the glass needs now, most urgent first; replaces what was wanted before.
   * @param {Want[]} list */
  want(list) {
    if (this.closed) return
    for (const c of this.coming.values()) c.wanted = false
    this.queue = []
    const now = performance.now()
    for (let i = list.length - 1; i >= 0; i--) { // the most urgent is used last, so kept longest
      const key = `${list[i].shelf.key}/${list[i].index}`
      const kept = this.kept.get(key)
      if (kept) {
        this.kept.delete(key)
        this.kept.set(key, kept)
      }
    }
    for (const w of list) {
      const key = `${w.shelf.key}/${w.index}`
      const coming = this.coming.get(key)
      if (coming) coming.wanted = true
      else if (!w.shelf.tiles.has(w.index) && now >= (this.failed.get(key)?.until ?? 0)) this.queue.push(w)
    }
    this.#start()
  }

  #start() {
    while (this.queue.length && !this.closed) {
      if (this.coming.size >= AT_ONCE) {
        const idle = [...this.coming].find(([, c]) => !c.wanted)
        if (!idle) return
        idle[1].stop.abort()
        this.coming.delete(idle[0])
      }
      const w = /** @type {Want} */ (this.queue.shift())
      const key = `${w.shelf.key}/${w.index}`
      if (!w.shelf.tiles.has(w.index) && !this.coming.has(key)) this.#bring(key, w)
    }
  }

  /** @param {string} key @param {Want} w */
  async #bring(key, { shelf, index }) {
    const mine = { stop: new AbortController(), wanted: true }
    this.coming.set(key, mine)
    try {
      const answer = await this.get(`${shelf.url}&from=${index * shelf.perTile}&n=${shelf.perTile}`, { signal: mine.stop.signal })
      if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).error ?? `the program answered ${answer.status}`)
      const bins = Number(answer.headers.get('Earshot-Bins'))
      const tile = shelf.read(await answer.arrayBuffer())
      if (mine.stop.signal.aborted) return
      if (bins) shelf.count = bins
      this.failed.delete(key)
      this.#keep(key, shelf, index, tile)
      this.onTile()
    } catch (err) {
      if (!mine.stop.signal.aborted) this.#fail(key, err)
    } finally {
      if (this.coming.get(key) === mine) this.coming.delete(key)
      this.#start()
    }
  }

  /** @param {string} key @param {unknown} err */
  #fail(key, err) {
    const tries = this.failed.get(key)?.tries ?? 0
    const wait = RETRY[Math.min(tries, RETRY.length - 1)]
    this.failed.set(key, { tries: tries + 1, until: performance.now() + wait })
    if (tries === 1) this.onTrouble(err instanceof Error ? err.message : String(err))
    setTimeout(() => this.closed || this.onTile(), wait + 10) // the glass asks again
  }

  /** @param {string} key @param {any} shelf @param {number} index @param {Int16Array | Float32Array} tile */
  #keep(key, shelf, index, tile) {
    shelf.tiles.set(index, tile)
    this.kept.set(key, { shelf, index, bytes: tile.byteLength })
    this.bytes += tile.byteLength
    for (const [old, k] of this.kept) {
      if (this.bytes <= this.limit || old === key) break
      k.shelf.tiles.delete(k.index)
      this.kept.delete(old)
      this.bytes -= k.bytes
    }
  }

  close() {
    this.closed = true
    for (const c of this.coming.values()) c.stop.abort()
    this.shelves.clear()
    this.kept.clear()
  }
}
