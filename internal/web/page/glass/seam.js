// The seam: what is left over along the take, drawn on the mirror's time axis.
// Above the middle the good sound is heard late, below it early.

import { xOf } from './geometry.js'
import { leftover, seamHeight } from './lines.js'

/** @typedef {import('./mirror.js').Area} Area */
/** @typedef {import('./geometry.js').View} View */
/** @typedef {import('./lines.js').Span} Span */
/** @typedef {import('./lines.js').Window} Window */
/** @typedef {{kind: 'ear' | 'fine', most: number}} Scale */

/** What the figures of the scale stand for. Sound is sound against picture but in the first;
 * early and late in ms.
 * @type {{early: number, late: number, short: string, says: string}[]} */
export const LIMITS = [
  { early: 1, late: 1, short: '1 ms', says: 'Within 1 ms, two microphones that are both heard sound as one but for a change of colour (common practice when microphones are mixed).' },
  { early: 5, late: 15, short: '5/15 ms', says: 'EBU R 37: sound no more than 5 ms early and 15 ms late at each stage of production.' },
  { early: 45, late: 125, short: '45/125 ms', says: 'ITU-R BT.1359-1: from about 45 ms early and 125 ms late on, viewers notice.' },
]

/** @param {Area} area @param {number} ms @param {Scale} scale */
const yOf = (area, ms, scale) => area.top + area.height / 2 - seamHeight(ms, scale) * (area.height / 2 - 4)

/** @typedef {{ground: string, band: string, line: string, ink: string, faint: string, far: string, text: string, font: string}} SeamLook */

/** Draws the limits as bands, one inside the other, with their figures at the left.
 * @param {CanvasRenderingContext2D} ctx @param {Area} area @param {Scale} scale @param {SeamLook} look */
function drawLimits(ctx, area, scale, look) {
  ctx.fillStyle = look.band
  for (const l of LIMITS) {
    const top = yOf(area, l.late, scale), foot = yOf(area, -l.early, scale)
    ctx.fillRect(0, top, area.width, foot - top)
  }
  ctx.fillStyle = look.line
  ctx.fillRect(0, Math.round(area.top + area.height / 2), area.width, 1)
}

/** @param {CanvasRenderingContext2D} ctx @param {Area} area @param {Scale} scale @param {SeamLook} look */
function drawFigures(ctx, area, scale, look) {
  const figures = scale.kind === 'fine' ? [scale.most, scale.most / 2, -scale.most / 2, -scale.most] : [125, 15, 1, -5, -45]
  ctx.font = look.font
  ctx.textBaseline = 'middle'
  ctx.textAlign = 'left'
  ctx.fillStyle = look.text
  ctx.strokeStyle = look.ground
  ctx.lineWidth = 3
  let last = -Infinity
  for (const ms of figures) {
    const y = Math.max(area.top + 7, Math.min(area.top + area.height - 7, yOf(area, ms, scale)))
    if (y - last < 11) continue
    last = y
    const end = ms === figures[0] ? ' ms late' : ms === figures[figures.length - 1] ? ' ms early' : ''
    const text = String(Math.abs(Number(ms.toPrecision(3)))) + end
    ctx.strokeText(text, 14, y)
    ctx.fillText(text, 14, y)
  }
}

/** Draws the windows: a dot for what was measured, a hair for its error (one standard deviation
 * either way), faint where it was not clearly heard.
 * @param {CanvasRenderingContext2D} ctx @param {View} view @param {Area} area @param {Scale} scale
 * @param {Window[]} windows @param {Span[]} laid @param {SeamLook} look */
function drawWindows(ctx, view, area, scale, windows, laid, look) {
  for (const heard of [false, true]) {
    ctx.fillStyle = heard ? look.ink : look.faint
    for (const w of windows) {
      const x = xOf(view, w.at_s)
      if (w.heard !== heard || x < -4 || x > view.width + 4) continue
      const late = leftover(w, laid)
      const y = yOf(area, late, scale)
      const top = yOf(area, late + w.error_ms, scale), foot = yOf(area, late - w.error_ms, scale)
      ctx.fillRect(x - 0.5, top, 1, foot - top)
      if (Math.abs(seamHeight(late, scale)) < 1) ctx.fillRect(x - 1.5, y - 1.5, 3, 3)
      else drawBeyond(ctx, x, y, late > 0 ? 1 : -1)
    }
  }
}

/** What lies beyond the scale points outwards.
 * @param {CanvasRenderingContext2D} ctx @param {number} x @param {number} y @param {1 | -1} up */
function drawBeyond(ctx, x, y, up) {
  ctx.beginPath()
  ctx.moveTo(x - 3, y + up * 3)
  ctx.lineTo(x, y - up * 3)
  ctx.lineTo(x + 3, y + up * 3)
  ctx.fill()
}

/** Joins clearly heard windows that stand near each other, so that a slope shows.
 * @param {CanvasRenderingContext2D} ctx @param {View} view @param {Area} area @param {Scale} scale
 * @param {Window[]} windows @param {Span[]} laid @param {SeamLook} look */
function drawThread(ctx, view, area, scale, windows, laid, look) {
  ctx.beginPath()
  let on = false
  for (const w of windows) {
    if (!w.heard) continue
    const x = xOf(view, w.at_s), y = yOf(area, leftover(w, laid), scale)
    if (on) ctx.lineTo(x, y)
    else ctx.moveTo(x, y)
    on = true
  }
  ctx.lineWidth = 1
  ctx.strokeStyle = look.far
  ctx.stroke()
}

/** @param {CanvasRenderingContext2D} ctx @param {View} view @param {Area} area @param {Scale} scale
 * @param {Window[]} windows @param {Span[]} laid @param {SeamLook} look */
export function drawSeam(ctx, view, area, scale, windows, laid, look) {
  ctx.save()
  ctx.beginPath()
  ctx.rect(0, area.top, area.width, area.height)
  ctx.clip()
  ctx.fillStyle = look.ground
  ctx.fillRect(0, area.top, area.width, area.height)
  drawLimits(ctx, area, scale, look)
  drawThread(ctx, view, area, scale, windows, laid, look)
  drawWindows(ctx, view, area, scale, windows, laid, look)
  drawFigures(ctx, area, scale, look)
  ctx.restore()
}
