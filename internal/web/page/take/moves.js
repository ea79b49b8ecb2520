// Moving the sound: steps, typed places, and how far is far, in words.

import { laterBy } from '../glass/lines.js'
import { ms } from '../common/words.js'

/** @typedef {import('../glass/lines.js').Line} Line */

/** The steps by which keys and buttons move the sound.
 * @typedef {'sample' | 'tenth' | 'ms' | 'frame'} Step */

/** @type {Step[]} */
export const STEPS = ['sample', 'tenth', 'ms', 'frame']

/** How long a step is, ms; NaN where the rate is not known.
 * @param {Step} step @param {{rate: number, fps: number}} of  the sound's rate, Hz; the picture's @returns {number} */
function stepMs(step, of) {
  if (step === 'tenth') return 0.1
  if (step === 'ms') return 1
  const per = step === 'sample' ? of.rate : of.fps
  return per > 0 ? 1000 / per : NaN
}

/** @param {Line} line @param {Step} step @param {number} count  above 0: later
 * @param {{rate: number, fps: number}} of @returns {Line}  the same where the step is not known */
export function nudge(line, step, count, of) {
  const by = stepMs(step, of) * count
  return Number.isNaN(by) ? line : laterBy(line, by)
}

// A number with a point or a comma, without sign.
const NUMBER = '(\\d+(?:[.,]\\d*)?|[.,]\\d+)'
const PLACE = new RegExp(`^([+-]?)(?:(?:(\\d+):)?(\\d+):)?${NUMBER}\\s*s?$`)
const SHIFT = new RegExp(`^([+-]?)\\s*${NUMBER}\\s*(ms|frames?|fr|samples?|sm)(?:\\s+(later|earlier))?$`)

/** @param {string} s */
const number = (s) => Number(s.replace(',', '.'))

/** Reads what a person typed for where the sound lies: a place in the sound at which the clip
 * begins ("1:02:03.4567", "3.5", "-0:01.25", "12 s"), or by how much to lay it later than
 * it lies now ("+1 ms", "-2 frames", "3 samples earlier"; a comma does for a point).
 * @param {string} typed @param {Line} now @param {{rate: number, fps: number}} of
 * @returns {{line: Line} | {why: string}} */
export function parseOffset(typed, now, of) {
  const text = typed.trim().toLowerCase().replace(/[−–]/g, '-')
  if (!text) return { why: 'nothing was typed' }
  const shift = SHIFT.exec(text)
  if (shift) {
    if (shift[1] && shift[4]) return { why: 'a sign and a word for the direction: one of them is enough' }
    const unit = shift[3] === 'ms' ? 1 : stepMs(shift[3][0] === 'f' ? 'frame' : 'sample', of)
    if (Number.isNaN(unit)) return { why: 'the length of that step is not known here' }
    const sign = shift[1] === '-' || shift[4] === 'earlier' ? -1 : 1
    return { line: laterBy(now, sign * number(shift[2]) * unit) }
  }
  const place = PLACE.exec(text)
  if (!place) return { why: 'not a time; like 1:02.345, 62.345, +1 ms or -2 frames' }
  const [, sign, hours, minutes, seconds] = place
  if (minutes !== undefined && number(seconds) >= 60) return { why: 'seconds behind a colon go up to 59.999' }
  if (hours !== undefined && Number(minutes) >= 60) return { why: 'minutes behind hours go up to 59' }
  const s = Number(hours ?? 0) * 3600 + Number(minutes ?? 0) * 60 + number(seconds)
  return { line: { offset_s: sign === '-' ? -s : s, drift_ppm: now.drift_ppm } }
}

/** @param {number} v  ms, above 0: later @returns {string} "1.0 ms later than measured", "as measured" */
export const movedWords = (v) => (Math.abs(v) < 5e-4 ? 'as measured' : `${ms(v)} ${v > 0 ? 'later' : 'earlier'} than measured`)
