// The two rulers of the glass: the good sound's own clock above the mirror, and
// the clip's below it. They lie against each other like the parts of a slide
// rule, and moving the sound moves the upper one.

import { xOf } from './geometry.js'
import { along, back } from './lines.js'
import { frameTicks, timeTicks, timecode } from '../common/ticks.js'
import { clock } from '../common/words.js'

/** @typedef {import('./mirror.js').Area} Area */
/** @typedef {import('./geometry.js').View} View */
/** @typedef {import('./lines.js').Span} Span */
/** @typedef {import('../common/ticks.js').Ticks} Ticks */
/** @typedef {{line: string, text: string, font: string}} RulerLook */

const ROOM = 84 // CSS pixels that a label needs

/** @param {number} length  seconds that a ruler shows @returns {number} */
const roomFor = (length) => ROOM + (length < 0.02 ? 30 : 0)

/** Draws ticks between two places, on the edge that faces the mirror.
 * @param {CanvasRenderingContext2D} ctx @param {Area} area @param {Ticks} ticks
 * @param {(t: number) => number} x @param {(t: number) => string} label @param {boolean} above  whether the mirror lies below
 * @param {RulerLook} look @param {[number, number]} between  pixels */
function drawTicks(ctx, area, ticks, x, label, above, look, between) {
  const edge = above ? area.top + area.height : area.top
  const sign = above ? -1 : 1
  ctx.fillStyle = look.line
  const stroke = (/** @type {number} */ t, /** @type {number} */ long) => {
    const at = x(t)
    if (at >= between[0] && at <= between[1]) ctx.fillRect(Math.round(at * area.dpr) / area.dpr, Math.min(edge, edge + sign * long), 1, long)
  }
  const first = ticks.at[0], last = ticks.at[ticks.at.length - 1]
  if (ticks.minor && first !== undefined) {
    for (let k = -Math.ceil(ticks.step / ticks.minor); first + k * ticks.minor <= last + ticks.step; k++) stroke(first + k * ticks.minor, 4)
  }
  for (const t of ticks.at) stroke(t, 9)
  ctx.fillStyle = look.text
  ctx.font = look.font
  ctx.textAlign = 'left'
  ctx.textBaseline = 'middle'
  for (const t of ticks.at) if (x(t) >= between[0] && x(t) < between[1]) ctx.fillText(label(t), x(t) + 4, edge + sign * 14)
}

/** The clip's ruler: plain time, or frames with the clip's timecode where it has one.
 * @param {CanvasRenderingContext2D} ctx @param {View} view @param {Area} area
 * @param {{fps: number, start: number, timecode: string} | null} frames  null: plain time @param {RulerLook} look */
export function drawRuler(ctx, view, area, frames, look) {
  const x = (/** @type {number} */ t) => xOf(view, t)
  /** @type {[number, number]} */
  const all = [0, area.width]
  const length = view.width * view.perPixel
  if (!frames) {
    const ticks = timeTicks(view, roomFor(length))
    return drawTicks(ctx, area, ticks, x, (t) => clock(t, ticks.decimals), false, look, all)
  }
  const ticks = frameTicks(view, ROOM, frames.fps, frames.start)
  const label = (/** @type {number} */ t) => {
    const n = Math.round((t - frames.start) * frames.fps)
    return timecode(frames.timecode, n, frames.fps) || `frame ${n.toLocaleString('en')}`
  }
  drawTicks(ctx, area, ticks, x, label, false, look, all)
  if (!ticks.at.length) ctx.fillText(`within ${label(frames.start + Math.floor((view.start - frames.start) * frames.fps + 1e-6) / frames.fps)}`, 14, area.top + 14)
}

/** The good sound's ruler, along the lines it is laid by.
 * @param {CanvasRenderingContext2D} ctx @param {View} view @param {Area} area
 * @param {{from: number, to: number, span: Span}[]} parts @param {RulerLook} look */
export function drawRail(ctx, view, area, parts, look) {
  for (const { from, to, span } of parts) {
    const sound = { start: along(span, view.start), perPixel: view.perPixel * (1 + span.drift_ppm * 1e-6), width: view.width }
    const ticks = timeTicks(sound, roomFor(view.width * view.perPixel))
    drawTicks(ctx, area, ticks, (s) => xOf(view, back(span, s)), (s) => clock(s, ticks.decimals), true, look, [xOf(view, from), xOf(view, to)])
  }
}
