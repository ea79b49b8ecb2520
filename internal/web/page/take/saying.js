// What is known of a take, in plain sentences: the verdict with its reasons, the
// line with its errors, the seam, and what would change any of it.

import { soundAt, splices, seamFigures } from '../glass/lines.js'
import { movedWords } from './moves.js'
import { chance, clock, count, late, ms } from '../common/words.js'

/** @typedef {import('../types').Take} Take */
/** @typedef {import('../types').Detail} Detail */
/** @typedef {import('../glass/lines.js').Span} Span */

/** What the state says of a take, to be shown until its detail is here.
 * @param {Take} t @returns {Detail} */
export function known(t) {
  const laid = { from_s: t.from_s, to_s: t.to_s, ...t.line }
  const measured = t.verdict === 'hand' ? [] : [{ ...laid, offset_s: laid.offset_s + t.moved_ms / 1000 }]
  return { take: t, clip_track: 0, sound_track: 0, measured, laid: [laid], windows: null, claps: null, candidates: null, inverted: false, sigma_ms: 0, drift_sigma: null, through: null, married: null }
}

/** A reason as a sentence. @param {string} s */
export const sentence = (s) => (s ? s[0].toUpperCase() + s.slice(1) + (/[.!?]$/.test(s) ? '' : '.') : '')

/** How a clip stands that is no take. @param {import('../types').Recording} r @returns {string} */
export function clipSays(r) {
  if (r.state === 'failed') return sentence(r.error ?? 'it could not be read')
  if (r.state !== 'read') return 'It is still being read.'
  return ['Alone.', ...(r.alone ?? []).map(sentence)].join(' ')
}

/** The verdict in one sentence. @param {Take} t @returns {string} */
export function verdictSays(t) {
  const wrong = chance(t.chance_of_error)
  if (t.verdict === 'sure') return `Sure. The chance that this is the wrong place is ${wrong}.`
  if (t.verdict === 'unsure') return `Unsure. The chance that this is the wrong place is ${wrong}.`
  if (t.verdict === 'weighing') return 'Still being weighed. What is shown is the best place so far.'
  return 'Paired by hand. Nothing was measured that says where the two belong, so no chance of error can be stated.'
}

/** What would change the verdict, or what there is to do. @param {Take} t @returns {string} */
export function settles(t) {
  if (t.word.approved) return 'You approved it. It is married as it lies here; undoing takes that back.'
  if (t.verdict === 'sure') return 'Nothing is left to do. Moving the sound, choosing another or refusing it changes what is married.'
  if (t.verdict === 'weighing') return 'The verdict comes by itself when the measurement is done.'
  if (t.verdict === 'hand') return 'Put it about right and measure from here, or line up a sharp sound that both heard; then approve it.'
  return 'Look for one sharp sound in both halves, and listen flipping between the microphones. If they are one moment, approve it; if not, choose another place, measure from where you think it lies, or refuse the pair.'
}

/** Where it lies and how well that is known. @param {Detail} d @param {Span[]} laid @param {string} sound  its name @returns {string[]} */
export function placeSays(d, laid, sound) {
  const first = laid[0]
  if (!first) return ['It is laid nowhere yet.']
  const at = first.offset_s >= 0 ? `The clip begins at ${clock(first.offset_s, 4)} of ${sound}` : `${sound} begins ${clock(-first.offset_s, 4)} into the clip`
  const lines = [d.measured?.length ? `${at}, ${d.take.moved_ms ? movedWords(d.take.moved_ms) : `as measured, give or take ${ms(d.sigma_ms)} (one standard deviation)`}.` : `${at}, as you laid it.`]
  const drift = first.drift_ppm
  const runs = Math.abs(drift) < 0.05 ? 'Both clocks run alike' : `The recorder's clock runs ${Math.abs(drift).toFixed(1)} ppm ${drift > 0 ? 'faster' : 'slower'} than the camera's`
  if (d.drift_sigma === null) lines.push(`${runs}; the take is too short to tell by itself.`)
  else if (d.measured?.length) lines.push(`${runs}, give or take ${d.drift_sigma.toFixed(1)}; unmended that would come to ${ms((drift * 1e-6 * (d.take.to_s - d.take.from_s)) * 1000)} at the end.`)
  for (const s of splices(laid)) lines.push(spliceSays(s))
  if (d.inverted) lines.push('One of the two microphones has its poles swapped: its wave stands upside down. That is mended when it is married.')
  return lines
}

/** @param {{at_s: number, lost_ms: number}} s */
const spliceSays = ({ at_s, lost_ms }) => lost_ms
  ? `At ${clock(at_s, 1)} the recorder ${lost_ms > 0 ? 'lost' : 'repeated'} ${ms(lost_ms)} of sound; the line goes on behind it.`
  : `At ${clock(at_s, 1)} the drift changes.`

/** The part of the clip that has no good sound. @param {Take} t @param {number} length  of the clip @returns {string} "" where all has */
export function gapSays(t, length) {
  const gaps = []
  if (t.from_s > 0.01) gaps.push(`before ${clock(t.from_s, 1)}`)
  if (t.to_s < length - 0.01) gaps.push(`from ${clock(t.to_s, 1)} on`)
  return gaps.length ? `There is no good sound ${gaps.join(' and ')}: the camera's own is heard there.` : ''
}

/** The seam's figures. @param {import('../glass/lines.js').Window[]} windows @param {Span[]} laid @returns {string} */
export function seamSays(windows, laid) {
  const f = seamFigures(windows, laid)
  if (!f.all) return 'No seam was measured.'
  if (!f.heard) return `None of ${count(f.all, 'window')} along the take could be heard clearly by itself.`
  return `${f.heard} of ${count(f.all, 'window')} along the take were clearly heard. The middle one lies ${late(f.middle)}, 95 % lie within ${ms(f.within)}, the furthest is ${ms(f.furthest)} off.`
}

/** Where the playhead is, for the ear. @param {number} t @param {Span[]} laid @param {import('../glass/lines.js').Window[]} windows @returns {string} */
export function positionSays(t, laid, windows) {
  const s = soundAt(laid, t)
  /** @type {import('../glass/lines.js').Window | undefined} */
  let near
  for (const w of windows) if (w.heard && (!near || Math.abs(w.at_s - t) < Math.abs(near.at_s - t))) near = w
  const seam = near ? `, the seam near here ${late((near.sound_s - soundAt(laid, near.at_s)) * 1000)}` : ''
  return `${clock(t, 3)} in the clip${Number.isNaN(s) ? '' : `, ${clock(s, 3)} in the sound`}${seam}`
}
