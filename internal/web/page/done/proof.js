// The seam of a finished clip, drawn small: what was left over along it.
import { clock, late, ms } from '../common/words.js'

const space = 'http://www.w3.org/2000/svg'

/** @param {string} tag @param {Record<string, string | number>} attributes */
function mark(tag, attributes) {
  const el = document.createElementNS(space, tag)
  for (const [k, v] of Object.entries(attributes)) el.setAttribute(k, String(v))
  return el
}

/**
 * How far the drawing reaches to each side, milliseconds: the first round
 * figure that holds every leftover.
 * @param {{late_ms: number}[]} windows
 */
export function reach(windows) {
  const most = Math.max(0, ...windows.map((w) => Math.abs(w.late_ms)))
  return [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500].find((v) => v >= most) ?? Math.ceil(most)
}

/**
 * Late above the middle line, early below.
 * @param {import('../types').Proof} p
 * @param {number} length  of the clip, seconds
 */
export function drawSeam(p, length) {
  const windows = p.windows ?? []
  const all = Math.max(length, ...windows.map((w) => w.at_s), 1)
  const top = reach(windows)
  const svg = mark('svg', { viewBox: '0 0 600 44', preserveAspectRatio: 'none', class: 'small-seam', role: 'img', 'aria-label': `Seam over ${clock(length)}: ${late(p.late_ms)} in the middle, 95 % within ${ms(p.seam_p95_ms)}` })
  svg.append(mark('line', { x1: 0, x2: 600, y1: 22, y2: 22 }))
  let d = ''
  for (const w of windows) {
    const x = (600 * w.at_s) / all, y = 22 - (20 * w.late_ms) / top
    d += `M${x.toFixed(1)} 22V${y.toFixed(1)}`
  }
  svg.append(mark('path', { d }))
  const box = document.createElement('div')
  box.className = 'seam-box'
  const scale = document.createElement('span')
  scale.className = 'quiet small'
  scale.textContent = `±${top} ms`
  box.append(svg, scale)
  return box
}
