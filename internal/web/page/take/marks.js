// Marks and claps: moments that a person, or the measurement, says are one and the same.

import { soundAt, clipAt } from '../glass/lines.js'

/** @typedef {import('../glass/lines.js').Span} Span */
/** @typedef {import('../glass/lines.js').Line} Line */
/** @typedef {import('../glass/lines.js').Clap} Clap */

/** A mark in each half; NaN while there is none.
 * @typedef {{clip: number, sound: number}} Marks  clip seconds, sound seconds */

/** @returns {Marks} */
export const noMarks = () => ({ clip: NaN, sound: NaN })

/** @param {Marks} m @returns {boolean} */
export const both = (m) => !Number.isNaN(m.clip) && !Number.isNaN(m.sound)

/** The line of the first span that brings the two marks together; its drift stays. All spans move
 * by as much as the one that the clip's mark is in.
 * @param {Marks} m @param {Span[]} spans @returns {Line | null} */
export function lineUp(m, spans) {
  if (!both(m) || !spans.length) return null
  const by = m.sound - soundAt(spans, m.clip)
  return { offset_s: spans[0].offset_s + by, drift_ppm: spans[0].drift_ppm }
}

/** By how much lining up lays the sound later, ms.
 * @param {Marks} m @param {Span[]} spans @returns {number} */
export const marksApart = (m, spans) => (soundAt(spans, m.clip) - m.sound) * 1000

/** The nearest clap behind a moment (step 1) or before it (step -1), round and round.
 * @param {Clap[]} claps @param {number} t  clip seconds @param {1 | -1} step @returns {Clap | undefined} */
export function nextClap(claps, t, step) {
  const inOrder = [...claps].sort((a, b) => step * (a.clip_s - b.clip_s))
  return inOrder.find((c) => step * (c.clip_s - t) > 1e-4) ?? inOrder[0]
}

/** The clap nearest to a moment.
 * @param {Clap[]} claps @param {number} t @returns {Clap | undefined} */
export function nearestClap(claps, t) {
  /** @type {Clap | undefined} */
  let found
  for (const c of claps) if (!found || Math.abs(c.clip_s - t) < Math.abs(found.clip_s - t)) found = c
  return found
}

/** Where a clap's sound lies in the clip as laid, and how late that is, ms.
 * @param {Clap} c @param {Span[]} spans @returns {{at_s: number, late_ms: number}} */
export function clapLaid(c, spans) {
  const late_ms = (c.sound_s - soundAt(spans, c.clip_s)) * 1000
  const at = clipAt(spans, c.sound_s, c.clip_s)
  return { at_s: Number.isNaN(at) ? c.clip_s + late_ms / 1000 : at, late_ms }
}
