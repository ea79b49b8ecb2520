// What stands in each column of the glass: the two recordings folded to its
// grain, the body's along the lines it is laid by. Where the right level is not
// at hand yet the next best stands in for it.

import { LEVELS, binSeconds, clear, foldBins, foldSamples, levelFor, newFold, tileRange } from './geometry.js'
import { along, spanAt } from './lines.js'

/** @typedef {import('./geometry.js').View} View */
/** @typedef {import('./geometry.js').Fold} Fold */
/** @typedef {import('./lines.js').Span} Span */
/** @typedef {import('./tiles.js').Want} Want */

/** One track of one recording.
 * @typedef {object} Source
 * @property {string} id
 * @property {number} track  -1: it has none, and is silent
 * @property {number} rate    Hz
 * @property {number} length  seconds */

/** Lowest, highest and RMS of each column, full scale 1; seen is 0 where there is no sound or
 * none has come yet.
 * @typedef {{n: number, lo: Float32Array, hi: Float32Array, rms: Float32Array, seen: Uint8Array, exact: boolean}} Columns */

/** @param {number} n @returns {Columns} */
export const newColumns = (n) => ({ n, lo: new Float32Array(n), hi: new Float32Array(n), rms: new Float32Array(n), seen: new Uint8Array(n), exact: false })

const fold = newFold()

/** @typedef {(level: number) => any} ShelfOf  a track's shelf at a level, Peaks; at -1 its Samples */

/** Folds a range of a recording at a level or the best that is there: first ever coarser ones,
 * then finer ones.
 * @param {ShelfOf} shelf @param {number} rate @param {number} level @param {number} from  seconds
 * @param {number} to  seconds @returns {number} the level that was there; LEVELS where none was */
function foldBest(shelf, rate, level, from, to) {
  for (let k = 0; k <= LEVELS; k++) {
    const l = level + k < LEVELS ? level + k : LEVELS - 1 - k
    if (l < Math.max(-1, level - 2)) break
    const { tiles, count } = shelf(l)
    if (!tiles.size) continue
    clear(fold)
    const bin = l < 0 ? 1 / rate : binSeconds(l)
    if (l < 0 ? foldSamples(fold, tiles, from / bin, to / bin, count) : foldBins(fold, tiles, from / bin, to / bin, count)) return l
  }
  return LEVELS
}

/** Fills columns with a recording, heard along spans.
 * @param {Columns} out @param {View} view @param {ShelfOf} shelf @param {Source} source
 * @param {Span[] | null} spans  null: the clip itself
 * @param {{from: number, to: number}} part  of the clip, seconds, that it covers */
export function fill(out, view, shelf, source, spans, part) {
  const per = (view.width * view.perPixel) / out.n
  const level = levelFor(per)
  out.exact = true
  for (let i = 0; i < out.n; i++) {
    out.seen[i] = 0
    const t0 = Math.max(part.from, view.start + i * per), t1 = Math.min(part.to, view.start + (i + 1) * per)
    if (t1 <= t0) continue
    const span = spans ? spanAt(spans, (t0 + t1) / 2) : undefined
    if (spans && !span) continue
    const from = span ? along(span, t0) : t0, to = span ? along(span, t1) : t1
    if (to <= 0 || from >= source.length) continue
    const got = foldBest(shelf, source.rate, level, from, to)
    if (got !== level) out.exact = false
    if (got === LEVELS || fold.hi < fold.lo) continue
    out.lo[i] = fold.lo
    out.hi[i] = fold.hi
    out.rms[i] = Math.sqrt(fold.square / fold.weight)
    out.seen[i] = 1
  }
}

/** The tiles that a view of a recording needs at a level, from the middle outwards, with a
 * neighbour on either side behind them.
 * @param {Want[]} wants  they are added here @param {Want[]} ahead  and the neighbours here
 * @param {import('./tiles.js').Peaks | import('./tiles.js').Samples} shelf
 * @param {number} from  recording seconds @param {number} to @param {number} length */
export function wantRange(wants, ahead, shelf, from, to, length) {
  const { first, last } = tileRange(from, to, length, shelf.tileSeconds)
  const middle = (from + to) / 2 / shelf.tileSeconds - 0.5
  const list = []
  for (let index = first; index < last; index++) list.push(index)
  list.sort((a, b) => Math.abs(a - middle) - Math.abs(b - middle))
  for (const index of list) wants.push({ shelf, index })
  if (first > 0) ahead.push({ shelf, index: first - 1 })
  if (last * shelf.tileSeconds < length) ahead.push({ shelf, index: last })
}

/** The loudest that columns show, at least a hair above nothing.
 * @param {Columns} c @returns {number} */
export function loudest(c) {
  let most = 1e-4
  for (let i = 0; i < c.n; i++) if (c.seen[i]) most = Math.max(most, -c.lo[i], c.hi[i])
  return most
}
