// Mirrors and pictures of the wall's tiles: fetched when seen, kept while
// there is room.
import { api } from '../common/api.js'
import { createQueue } from '../common/queue.js'

/** @typedef {import('../types').Item} Item */
/** @typedef {import('../types').Look} Look */

const columns = 180 // per mirror
const mostPictures = 400 // kept, some 60 kB each

/** What a mirror depends on. @param {Item} i */
const waveKey = (i) => {
  const t = i.take
  return t ? `w ${i.id} ${t.sound} ${t.line.offset_s} ${t.line.drift_ppm}` : `w ${i.id} ${i.recording.kind}`
}
const pictureKey = (/** @type {Item} */ i) => `p ${i.id}`

// Kept from screen to screen; null where there is nothing to show.
/** @type {Map<string, Uint8Array | null>} */
const waves = new Map()
/** @type {Map<string, ImageBitmap | null>} */
const pictures = new Map()

/**
 * @param {(id: string) => void} come  called when something of an item came
 * @param {{pictures: boolean}} [what]
 */
export function createLooks(come, what = { pictures: true }) {
  const queue = createQueue(4)
  /** @param {Item} i @param {AbortSignal} signal */
  async function wave(i, signal) {
    const key = waveKey(i)
    try {
      waves.set(key, i.take ? await api.mirror(i.id, columns, signal) : await own(i.recording, signal))
    } catch (err) {
      if (signal.aborted) return
      waves.set(key, null)
    }
    come(i.id)
  }

  /** @param {Item} i @param {AbortSignal} signal */
  async function picture(i, signal) {
    let got = null
    try {
      got = await createImageBitmap(await api.blob(api.stillURL(i.id, Math.round(i.recording.length_s * 30) / 100, 240), signal))
    } catch (err) {
      if (signal.aborted) return
    }
    const [oldest] = pictures
    if (pictures.size >= mostPictures && oldest) {
      oldest[1]?.close()
      pictures.delete(oldest[0])
    }
    pictures.set(pictureKey(i), got)
    come(i.id)
  }

  return {
    /** What is there of an item now. @param {Item} i @returns {Look} */
    of: (i) => {
      const key = pictureKey(i)
      const picture = pictures.get(key) ?? null
      if (pictures.delete(key)) pictures.set(key, picture) // used last
      return { columns: waves.get(waveKey(i)) ?? null, picture }
    },
    /** Fetches what these lack, and gives up what others lacked. @param {Item[]} seen */
    want(seen) {
      const keep = new Set()
      for (const i of [...seen].reverse()) {
        if (i.recording.state !== 'read') continue
        if (what.pictures && i.recording.picture && !pictures.has(pictureKey(i))) {
          keep.add(pictureKey(i))
          queue.want(pictureKey(i), (signal) => picture(i, signal))
        }
        if (i.recording.tracks?.length && !waves.has(waveKey(i))) {
          keep.add(waveKey(i))
          queue.want(waveKey(i), (signal) => wave(i, signal))
        }
      }
      queue.keep(keep)
    },
    /** Gives up what is still to come. */
    close: () => queue.keep(new Set()),
  }
}

/** A recording that is alone, on its side of the water. @param {import('../types').Recording} r @param {AbortSignal} signal */
async function own(r, signal) {
  let level = 0
  while (level < 6 && (r.length_s * 16000) / (64 * 4 ** level) > 1500) level++
  const p = await api.peaks(r.id, { level, from: 0, n: 1500 }, signal)
  return columnsOf(p, r.kind === 'clip' ? 2 : 0)
}

/**
 * Bins as columns of four, each scaled to the loudest.
 * @param {{low: Int16Array, high: Int16Array, rms: Uint16Array}} p
 * @param {0 | 2} side  0: body, 2: scratch
 */
export function columnsOf(p, side) {
  const n = Math.min(columns, p.low.length)
  const out = new Uint8Array(4 * n)
  let most = 1
  for (let k = 0; k < p.low.length; k++) most = Math.max(most, -p.low[k], p.high[k])
  for (let k = 0; k < n; k++) {
    const from = Math.floor((k * p.low.length) / n), to = Math.max(from + 1, Math.floor(((k + 1) * p.low.length) / n))
    let peak = 0, square = 0
    for (let b = from; b < to; b++) {
      peak = Math.max(peak, -p.low[b], p.high[b])
      square += p.rms[b] ** 2 / (to - from)
    }
    out[4 * k + side] = (255 * peak) / most
    out[4 * k + side + 1] = Math.min(255, (255 * Math.sqrt(square)) / most)
  }
  return out
}
