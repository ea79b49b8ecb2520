// Where things lie on the glass, and what a column of it shows: views, zoom,
// levels, tiles, and the folding of many bins or samples into one column.
// Nothing here draws, fetches or knows the page.

/**
 * What part of the clip is on the glass.
 * @typedef {object} View
 * @property {number} start     clip seconds at the left edge
 * @property {number} perPixel  seconds per CSS pixel
 * @property {number} width     CSS pixels
 */

/**
 * How far a view may go.
 * @typedef {object} Bounds
 * @property {number} from    clip seconds
 * @property {number} to      clip seconds
 * @property {number} finest  the least seconds per pixel
 */

/** Pixels kept free at both ends when the whole take is on the glass. */
const MARGIN = 8

/** @param {View} v @param {number} t  clip seconds @returns {number} pixels from the left edge */
export const xOf = (v, t) => (t - v.start) / v.perPixel

/** @param {View} v @param {number} x  pixels from the left edge @returns {number} clip seconds */
export const tOf = (v, x) => v.start + x * v.perPixel

/** @param {View} v @returns {number} clip seconds at the right edge */
export const endOf = (v) => tOf(v, v.width)

/** The view that shows a range whole, with a margin.
 * @param {number} from @param {number} to @param {number} width @returns {View} */
export function fit(from, to, width) {
  const inner = Math.max(1, width - 2 * MARGIN)
  const perPixel = Math.max(to - from, 1e-6) / inner
  return { start: from - MARGIN * perPixel, perPixel, width }
}

/** The same view, no coarser than the whole and no finer than allowed, with no more
 * emptiness beside an end than a margin or, close to, half the glass.
 * @param {View} v @param {Bounds} b @returns {View} */
export function clamp(v, b) {
  const whole = fit(b.from, b.to, v.width)
  const perPixel = Math.min(whole.perPixel, Math.max(b.finest, v.perPixel))
  if (perPixel >= whole.perPixel) return whole
  const room = Math.min(v.width / 2, MARGIN * (whole.perPixel / perPixel)) * perPixel
  const last = b.to + room - v.width * perPixel
  const start = Math.min(Math.max(v.start, b.from - room), Math.max(last, b.from - room))
  return { start, perPixel, width: v.width }
}

/** Zooms so that the moment under x stays there.
 * @param {View} v @param {number} x  pixels @param {number} factor  above 1: closer
 * @param {Bounds} b @returns {View} */
export function zoomAbout(v, x, factor, b) {
  const coarsest = fit(b.from, b.to, v.width).perPixel
  const perPixel = Math.min(coarsest, Math.max(b.finest, v.perPixel / factor))
  return clamp({ start: tOf(v, x) - x * perPixel, perPixel, width: v.width }, b)
}

/** @param {View} v @param {number} pixels  above 0: to later moments @param {Bounds} b @returns {View} */
export const pan = (v, pixels, b) => clamp({ ...v, start: v.start + pixels * v.perPixel }, b)

/** The view of so many seconds with a moment in its middle.
 * @param {number} t @param {number} seconds @param {number} width @param {Bounds} b @returns {View} */
export const around = (t, seconds, width, b) =>
  clamp({ start: t - seconds / 2, perPixel: seconds / width, width }, b)

/** Shifts the view as little as needed for a moment to lie inside it by a share of its width.
 * @param {View} v @param {number} t @param {number} share  0 to ½ @param {Bounds} b @returns {View} */
export function reveal(v, t, share, b) {
  const span = v.width * v.perPixel
  if (t < v.start + share * span) return clamp({ ...v, start: t - share * span }, b)
  if (t > v.start + (1 - share) * span) return clamp({ ...v, start: t - (1 - share) * span }, b)
  return v
}

/** How far the picture has turned from land (0: heights from the shore) to wave (1: signed,
 * about an axis of its own). It turns between 2 ms and ½ ms to the pixel, evenly in octaves.
 * @param {number} perPixel @returns {number} */
export function waveness(perPixel) {
  const x = Math.min(1, Math.max(0, Math.log2(2e-3 / perPixel) / 2))
  return x * x * (3 - 2 * x)
}

// Levels: a bin of level L holds 64·4^L samples at 16 kHz.

export const LEVELS = 7
export const BINS_PER_TILE = 8192
export const FRAMES_PER_TILE = 32768

/** @param {number} level @returns {number} seconds */
export const binSeconds = (level) => (64 * 4 ** level) / 16000

/** The coarsest level whose bins are no wider than a pixel; -1 where only samples will do.
 * @param {number} perPixel  seconds per drawn column @returns {number} */
export function levelFor(perPixel) {
  let level = -1
  while (level + 1 < LEVELS && binSeconds(level + 1) <= perPixel * (1 + 1e-9)) level++
  return level
}

/** The tiles that hold a range of a recording.
 * @param {number} from  seconds @param {number} to  seconds @param {number} length  of the recording, seconds
 * @param {number} tileSeconds @returns {{first: number, last: number}}  last is excluded */
export function tileRange(from, to, length, tileSeconds) {
  const count = Math.ceil(length / tileSeconds - 1e-9)
  const first = Math.max(0, Math.floor(from / tileSeconds))
  return { first, last: Math.max(first, Math.min(count, Math.ceil(to / tileSeconds))) }
}

/**
 * What one column gathers: lowest and highest value, and the mean square. Full scale is 1.
 * @typedef {{lo: number, hi: number, square: number, weight: number}} Fold
 */

/** @returns {Fold} */
export const newFold = () => ({ lo: Infinity, hi: -Infinity, square: 0, weight: 0 })

/** @param {Fold} f */
export function clear(f) {
  f.lo = Infinity
  f.hi = -Infinity
  f.square = 0
  f.weight = 0
}

const NEAR = 1e-6 // of a bin: what rounding may add

/** Folds the bins that a range touches, those it touches in part as well: lowest and highest
 * of all of them, mean square by how much of each lies inside. Bins before the first and
 * behind the last hold nothing.
 * @param {Fold} f
 * @param {Map<number, Int16Array>} tiles  by index; three numbers a bin: lowest, highest, RMS (unsigned)
 * @param {number} a  where the range begins, in bins @param {number} b  where it ends
 * @param {number} count  bins there are in all
 * @returns {boolean} whether every tile needed was there; if not, f is of no use */
export function foldBins(f, tiles, a, b, count) {
  const first = Math.max(0, Math.floor(a + NEAR))
  const last = Math.min(count, Math.max(first + 1, Math.ceil(b - NEAR)))
  if (b <= 0) return true
  let index = -1
  /** @type {Int16Array | undefined} */
  let tile
  for (let i = first; i < last; i++) {
    const at = Math.floor(i / BINS_PER_TILE)
    if (at !== index) {
      tile = tiles.get(at)
      index = at
    }
    if (!tile) return false
    const k = (i - at * BINS_PER_TILE) * 3
    if (k + 2 >= tile.length) break
    const lo = tile[k] / 32767, hi = tile[k + 1] / 32767, rms = (tile[k + 2] & 0xffff) / 32767
    if (lo < f.lo) f.lo = lo
    if (hi > f.hi) f.hi = hi
    const share = Math.max(NEAR, Math.min(b, i + 1) - Math.max(a, i))
    f.square += share * rms * rms
    f.weight += share
  }
  return true
}

/** Folds the samples of a range and the one on either side of it, so that columns join.
 * @param {Fold} f
 * @param {Map<number, Float32Array>} tiles  by index
 * @param {number} a  in frames @param {number} b  in frames
 * @param {number} count  frames there are in all
 * @returns {boolean} whether every tile needed was there */
export function foldSamples(f, tiles, a, b, count) {
  const first = Math.max(0, Math.floor(a))
  const last = Math.min(count - 1, Math.ceil(b))
  let i = first
  while (i <= last) {
    const at = Math.floor(i / FRAMES_PER_TILE)
    const tile = tiles.get(at)
    if (!tile) return false
    const base = at * FRAMES_PER_TILE
    const end = Math.min(last + 1, base + tile.length)
    for (; i < end; i++) {
      const v = tile[i - base]
      if (v < f.lo) f.lo = v
      if (v > f.hi) f.hi = v
      f.square += v * v
      f.weight++
    }
    if (tile.length < FRAMES_PER_TILE) break
  }
  return true
}

/** One sample, or 0 where there is none.
 * @param {Map<number, Float32Array>} tiles @param {number} i  frame */
export function sampleAt(tiles, i) {
  const at = Math.floor(i / FRAMES_PER_TILE)
  return tiles.get(at)?.[i - at * FRAMES_PER_TILE] ?? 0
}

const REACH = 8 // samples on either side

/** The wave between samples: the band-limited one through them, with a Lanczos window over eight
 * on either side. On a sine below 0.35 of the rate it is within 1 % (test/geometry.test.js).
 * Source: C. Duchon, Lanczos Filtering in One and Two Dimensions, J. Appl. Meteorology 18, 1979.
 * @param {(i: number) => number} sample @param {number} x  in samples @returns {number} */
export function between(sample, x) {
  const i = Math.floor(x)
  const part = x - i
  if (part < 1e-9) return sample(i)
  let sum = 0, whole = 0
  for (let k = 1 - REACH; k <= REACH; k++) {
    const d = Math.PI * (k - part)
    const w = (REACH * Math.sin(d) * Math.sin(d / REACH)) / (d * d)
    sum += w * sample(i + k)
    whole += w
  }
  return sum / whole
}

/** @param {number} v  in proportion to the loudest @returns {number} the share of the half's height up to which land
 * stands; quiet sound stands a little higher than it is, so that a voice shows beside a clap */
export const landShare = (v) => Math.min(1, Math.abs(v)) ** 0.6

/** @param {number} v  signed, in proportion to the loudest @returns {number} where the wave is, about the middle of the half */
export const waveShare = (v) => 0.5 + 0.5 * Math.max(-1, Math.min(1, v))

/** Where a column ends towards the shore, as a share of the half's height, on the way from land to
 * wave: land stands on the shore itself.
 * @param {number} lo  lowest, in proportion to the loudest @param {number} u  waveness @returns {number} */
export const nearEnd = (lo, u) => u * waveShare(lo)

/** Where a column ends away from the shore: land is as high as the greater of both ends of the sound.
 * @param {number} lo @param {number} hi @param {number} u @returns {number} */
export const farEnd = (lo, hi, u) => (1 - u) * landShare(Math.max(-lo, hi)) + u * waveShare(hi)
