// The rulers: which ticks a view shows, and times in figures.

/** @typedef {import('../glass/geometry.js').View} View */

/**
 * @typedef {object} Ticks
 * @property {number} step    seconds between labelled ticks
 * @property {number} minor   seconds between small ticks; 0: none
 * @property {number[]} at    seconds of the labelled ticks, in order
 * @property {number} decimals  that the labels need
 */

// Labelled steps above a second, each with the small step that divides it.
const LONG = [
  [1, 0.2], [2, 0.5], [5, 1], [10, 2], [15, 5], [30, 5], [60, 10], [120, 30], [300, 60],
  [600, 120], [900, 300], [1800, 300], [3600, 600], [7200, 1800], [14400, 3600], [43200, 7200],
]

/** The steps of a ruler whose labels need so many seconds each.
 * @param {number} least  seconds @returns {[number, number]} labelled, small */
export function steps(least) {
  for (const [step, minor] of LONG) if (step >= least && least > 0.5) return [step, minor]
  if (least > 0.5) return [86400, 14400]
  const decade = 10 ** Math.floor(Math.log10(least) + 1e-9)
  for (const m of [1, 2, 5, 10]) {
    if (m * decade >= least * (1 - 1e-9)) return [m * decade, (m * decade) / (m === 2 ? 4 : 5)]
  }
  return [10 * decade, 2 * decade]
}

/** @param {number} from @param {number} to @param {number} step @returns {number[]} */
function every(from, to, step) {
  const out = []
  for (let k = Math.ceil(from / step - 1e-9); k * step <= to; k++) out.push(k * step)
  return out
}

/** The ticks of a view in plain time.
 * @param {View} v @param {number} room  pixels that a label needs @returns {Ticks} */
export function timeTicks(v, room) {
  const [step, minor] = steps(room * v.perPixel)
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9))
  return { step, minor, at: every(v.start, v.start + v.width * v.perPixel, step), decimals }
}

const FRAME_STEPS = [1, 2, 5, 10]

/** The ticks of a view at picture frames: every, second, fifth or tenth frame, then whole seconds.
 * Closer than a frame there is one tick to the frame, and plain time says more.
 * @param {View} v @param {number} room @param {number} fps @param {number} start  seconds at which frame 0 begins
 * @returns {Ticks} */
export function frameTicks(v, room, fps, start) {
  const least = room * v.perPixel * fps // frames
  const few = FRAME_STEPS.find((n) => n >= least)
  const second = Math.round(fps)
  const frames = few ?? Math.max(1, Math.round(steps(least / fps)[0])) * second
  const minor = frames >= second ? (frames === second ? second / 5 : second) : 1
  const step = frames / fps
  const end = v.start + v.width * v.perPixel
  return { step, minor: minor === frames ? 0 : minor / fps, at: every(v.start - start, end - start, step).map((t) => t + start), decimals: 0 }
}

/** Frames a second from a rate such as "30000/1001".
 * @param {string} rate @param {number} otherwise @returns {number} */
export function fpsOf(rate, otherwise) {
  const [n, d] = rate.split('/').map(Number)
  const fps = n / (d || 1)
  return Number.isFinite(fps) && fps > 0 ? fps : otherwise
}

/** Timecode of a frame, counted on from the timecode of frame 0. Drop-frame counting, written with
 * a semicolon, leaves out the first two numbers of each minute but the tenth (four at 60).
 * Source: SMPTE ST 12-1, section 5.2.
 * @param {string} first  of frame 0, "10:00:00:00" or "10:00:00;00" @param {number} n  frame
 * @param {number} fps @returns {string} "" where the first is none */
export function timecode(first, n, fps) {
  const m = /^(\d+):(\d\d):(\d\d)([:;.])(\d+)$/.exec(first)
  if (!m) return ''
  const base = Math.round(fps)
  const drop = m[4] === ':' ? 0 : Math.round(base / 15)
  const minutes = Number(m[1]) * 60 + Number(m[2])
  const told = (minutes * 60 + Number(m[3])) * base + Number(m[5])
  let frame = told - drop * (minutes - Math.floor(minutes / 10)) + n
  const day = 24 * 6 * (600 * base - 9 * drop)
  frame = ((frame % day) + day) % day
  if (drop) {
    const ten = 600 * base - 9 * drop, one = 60 * base - drop
    const tens = Math.floor(frame / ten), rest = frame % ten
    frame += drop * 9 * tens + (rest >= 60 * base ? drop * Math.floor((rest - drop) / one) : 0)
  }
  const two = (/** @type {number} */ x) => String(x).padStart(2, '0')
  const s = Math.floor(frame / base)
  return `${two(Math.floor(s / 3600))}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}${m[4]}${two(frame % base)}`
}
