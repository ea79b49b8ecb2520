// The mirror: the body mic's sound above the shore, the camera's below it. From
// far they are land and its reflection; close to, two waves, the lower one
// turned over, so that what is equal is a reflection to the last sample.

import { between, farEnd, landShare, nearEnd, sampleAt, waveShare, xOf } from './geometry.js'
import { back, clipAt, spanAt } from './lines.js'

/** @typedef {import('./geometry.js').View} View */
/** @typedef {import('./columns.js').Columns} Columns */
/** @typedef {import('./lines.js').Span} Span */

/** A band of the glass, CSS pixels.
 * @typedef {{top: number, height: number, width: number, dpr: number}} Area */

/** One half: 1 is above the shore, -1 below.
 * @typedef {object} Half
 * @property {1 | -1} up
 * @property {number} shore    CSS pixels from the top of the canvas
 * @property {number} height   of the half
 * @property {number} gain     what the loudest is multiplied by to fill it
 * @property {number} u        waveness
 * @property {string} pale
 * @property {string} strong */

/** @param {Half} h @param {number} share @returns {number} CSS pixels */
const yOf = (h, share) => h.shore - h.up * share * h.height

const HAIR = 0.6 // CSS pixels: half the thinnest line a wave is drawn with

/** Draws a half from its columns: peaks pale, level strong, which become one as the wave shows.
 * Columns are filled one by one: a single path of so many edges takes a rasterizer a hundred times
 * as long.
 * @param {CanvasRenderingContext2D} ctx @param {Columns} c @param {Half} h @param {number} width  CSS pixels */
export function drawLand(ctx, c, h, width) {
  const { up, gain, u } = h
  const step = width / c.n
  const rough = !c.exact && u > 0.5 // a coarser level stands in for a wave: only how far it reaches is known
  for (const strong of rough ? [false] : u < 1 ? [false, true] : [true]) {
    ctx.fillStyle = strong ? h.strong : h.pale
    for (let i = 0; i < c.n; i++) {
      if (!c.seen[i]) continue
      const lo = c.lo[i] * gain, hi = c.hi[i] * gain
      const far = strong && u < 1 ? (1 - u) * landShare(c.rms[i] * gain) + u * waveShare(hi) : farEnd(lo, hi, u)
      const y = yOf(h, nearEnd(lo, u)) + u * up * HAIR
      ctx.fillRect(i * step, y, step, yOf(h, far) - up * HAIR - y)
    }
  }
}

/** Draws where the body lay before it was moved: the outline of its land or its wave.
 * @param {CanvasRenderingContext2D} ctx @param {Columns} c @param {Half} h @param {number} width */
export function drawGhost(ctx, c, h, width) {
  const step = width / c.n
  ctx.fillStyle = h.pale
  for (const near of h.u < 0.5 ? [false] : [false, true]) {
    let last = NaN
    for (let i = 0; i < c.n; i++) {
      const y = c.seen[i] ? yOf(h, near ? nearEnd(c.lo[i] * h.gain, h.u) : farEnd(c.lo[i] * h.gain, c.hi[i] * h.gain, h.u)) : NaN
      if (!Number.isNaN(y + last)) ctx.fillRect(i * step, Math.min(y, last) - 0.5, step, Math.abs(y - last) + 1)
      last = y
    }
  }
}

/** The parts of a view that lie on one line each. The clip itself is one part.
 * @param {View} view @param {Span[] | null} spans @param {{from: number, to: number}} part
 * @returns {{from: number, to: number, span: Span}[]} clip seconds */
export function partsOf(view, spans, part) {
  const from = Math.max(part.from, view.start), to = Math.min(part.to, view.start + view.width * view.perPixel)
  if (to <= from) return []
  const own = { from_s: from, to_s: to, offset_s: 0, drift_ppm: 0 }
  if (!spans) return [{ from, to, span: own }]
  const cuts = [from, ...spans.slice(1).map((s) => s.from_s).filter((t) => t > from && t < to), to]
  return cuts.slice(0, -1).map((t, i) => ({ from: t, to: cuts[i + 1], span: spanAt(spans, t) ?? own }))
}

/** Draws single samples: the wave that runs through them, and dots once they are far enough apart.
 * @param {CanvasRenderingContext2D} ctx @param {View} view @param {Half} h
 * @param {{tiles: Map<number, Float32Array>, count: number}} shelf @param {number} rate
 * @param {{from: number, to: number, span: Span}[]} parts @param {{faint?: boolean}} [how] */
export function drawSamples(ctx, view, h, shelf, rate, parts, how = {}) {
  const apart = 1 / (rate * view.perPixel) // CSS pixels, but for the drift
  const value = (/** @type {number} */ i) => sampleAt(shelf.tiles, i)
  const y = (/** @type {number} */ v) => yOf(h, waveShare(v * h.gain))
  const fine = apart > 3 ? 1.5 / apart : 1
  ctx.beginPath()
  for (const { from, to, span } of parts) {
    const unit = 1 + span.drift_ppm * 1e-6
    const a = Math.max(0, Math.floor((span.offset_s + unit * from) * rate) - 1), b = Math.min(shelf.count - 1, (span.offset_s + unit * to) * rate + 1)
    for (let i = a; i <= b; i += fine) {
      const x = xOf(view, back(span, i / rate))
      if (i === a) ctx.moveTo(x, y(value(i)))
      else ctx.lineTo(x, y(fine === 1 ? value(i) : between(value, i)))
    }
  }
  ctx.lineWidth = how.faint ? 1 : 1.4
  ctx.lineJoin = 'round'
  ctx.strokeStyle = how.faint ? h.pale : h.strong
  ctx.stroke()
  if (apart >= 6 && !how.faint) drawDots(ctx, view, h, shelf, rate, parts, Math.min(3.2, apart / 5))
}

/** @param {CanvasRenderingContext2D} ctx @param {View} view @param {Half} h
 * @param {{tiles: Map<number, Float32Array>, count: number}} shelf @param {number} rate
 * @param {{from: number, to: number, span: Span}[]} parts @param {number} radius */
function drawDots(ctx, view, h, shelf, rate, parts, radius) {
  ctx.beginPath()
  for (const { from, to, span } of parts) {
    const unit = 1 + span.drift_ppm * 1e-6
    const b = Math.min(shelf.count - 1, (span.offset_s + unit * to) * rate)
    for (let i = Math.max(0, Math.ceil((span.offset_s + unit * from) * rate)); i <= b; i++) {
      const x = xOf(view, back(span, i / rate)), y = yOf(h, waveShare(sampleAt(shelf.tiles, i) * h.gain))
      ctx.moveTo(x + radius, y)
      ctx.arc(x, y, radius, 0, 2 * Math.PI)
    }
  }
  ctx.fillStyle = h.strong
  ctx.fill()
}

/** Draws claps: half a lozenge in each half, its long side on the shore; in sync they are one lozenge.
 * They are the smaller the closer they stand.
 * @param {CanvasRenderingContext2D} ctx @param {View} view @param {number} shore
 * @param {import('./lines.js').Clap[]} claps @param {Span[]} laid @param {{above: string, below: string}} colours */
export function drawClaps(ctx, view, shore, claps, laid, colours) {
  for (const up of /** @type {const} */ ([1, -1])) {
    const xs = claps.map((c) => xOf(view, up > 0 ? clipAt(laid, c.sound_s, c.clip_s) : c.clip_s)).filter((x) => x > -9 && x < view.width + 9).sort((a, b) => a - b)
    const room = xs.slice(1).reduce((least, x, i) => Math.min(least, x - xs[i]), 18)
    const half = Math.max(0.75, Math.min(5, room / 3.6))
    ctx.beginPath()
    for (const x of xs) {
      ctx.moveTo(x - half, shore)
      ctx.lineTo(x, shore - up * (4 + half))
      ctx.lineTo(x + half, shore)
    }
    ctx.fillStyle = up > 0 ? colours.above : colours.below
    ctx.fill()
  }
}

/** Draws the marks a person set: a hair through the half, with a flag at its far end.
 * @param {CanvasRenderingContext2D} ctx @param {View} view @param {Area} area
 * @param {import('../take/marks.js').Marks} marks @param {Span[]} laid @param {string} colour */
export function drawMarks(ctx, view, area, marks, laid, colour) {
  const shore = area.top + area.height / 2
  ctx.fillStyle = colour
  for (const up of [1, -1]) {
    const t = up > 0 ? clipAt(laid, marks.sound, marks.clip || 0) : marks.clip
    if (Number.isNaN(t)) continue
    const x = Math.round(xOf(view, t)) - 0.75
    const end = shore - up * (area.height / 2)
    ctx.fillRect(x, Math.min(shore, end), 1.5, area.height / 2)
    ctx.beginPath()
    ctx.moveTo(x + 0.75, end)
    ctx.lineTo(x + 10, end + up * 5)
    ctx.lineTo(x + 0.75, end + up * 10)
    ctx.fill()
  }
}
