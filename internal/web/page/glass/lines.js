// Lines from a clip's clock to a sound's, and what is left over against them.
// One convention: the clip's moment t is heard in the sound at
// s = offset + (1 + drift) t. Late is positive: the good sound is heard after
// the scratch. So sound laid later has the smaller offset.

/** A part of the clip with a line of its own, as docs/desk.md has it; drift in ppm.
 * @typedef {{from_s: number, to_s: number, offset_s: number, drift_ppm: number}} Span */

/** @typedef {{offset_s: number, drift_ppm: number}} Line */

/** What one short stretch measured by itself; the error is one standard deviation.
 * @typedef {{at_s: number, sound_s: number, error_ms: number, heard: boolean}} Window */

/** @typedef {{clip_s: number, sound_s: number}} Clap */

/** The span a moment is in; the first one reaches back and each goes on until the next.
 * @param {Span[]} spans @param {number} t  clip seconds @returns {Span | undefined} */
export function spanAt(spans, t) {
  let found = spans[0]
  for (const s of spans) if (t >= s.from_s) found = s
  return found
}

/** @param {Line} l @param {number} t  clip seconds @returns {number} sound seconds */
export const along = (l, t) => l.offset_s + (1 + l.drift_ppm * 1e-6) * t

/** @param {Line} l @param {number} s  sound seconds @returns {number} clip seconds */
export const back = (l, s) => (s - l.offset_s) / (1 + l.drift_ppm * 1e-6)

/** Where a moment of the clip is heard in the sound; NaN where there is no line.
 * @param {Span[]} spans @param {number} t @returns {number} */
export function soundAt(spans, t) {
  const span = spanAt(spans, t)
  return span ? along(span, t) : NaN
}

/** Where a moment of the sound is heard in the clip: where it is heard nearest to a given
 * moment, if several spans hold it; NaN where it was left out or there is no line.
 * @param {Span[]} spans @param {number} s @param {number} [near]  clip seconds @returns {number} */
export function clipAt(spans, s, near = 0) {
  let best = NaN
  spans.forEach((span, i) => {
    const t = back(span, s)
    const begins = i === 0 ? -Infinity : span.from_s
    const ends = i === spans.length - 1 ? Infinity : spans[i + 1].from_s
    if (t < begins || t >= ends) return
    if (Number.isNaN(best) || Math.abs(t - near) < Math.abs(best - near)) best = t
  })
  return best
}

/** The spans that follow when the first is laid along a line: all move alike, and turn alike
 * about the clip's zero.
 * @param {Span[]} spans @param {Line} line @returns {Span[]} */
export function laidBy(spans, line) {
  if (!spans.length) return []
  const by = line.offset_s - spans[0].offset_s, turn = line.drift_ppm - spans[0].drift_ppm
  return spans.map((s) => ({ ...s, offset_s: s.offset_s + by, drift_ppm: s.drift_ppm + turn }))
}

/** @param {Line} l @param {number} ms  above 0: heard later @returns {Line} */
export const laterBy = (l, ms) => ({ offset_s: l.offset_s - ms / 1000, drift_ppm: l.drift_ppm })

/** By how much one set of spans is heard later than another at a moment, ms.
 * @param {Span[]} spans @param {Span[]} than @param {number} t @returns {number} */
export const laterThan = (spans, than, t) => (soundAt(than, t) - soundAt(spans, t)) * 1000

/** What is left over at a window, ms; positive: the good sound is heard late.
 * @param {Window} w @param {Span[]} spans @returns {number} */
export const leftover = (w, spans) => (w.sound_s - soundAt(spans, w.at_s)) * 1000

/** The clearly heard window that lies furthest off; any window where none is clear.
 * @param {Window[]} windows @param {Span[]} spans @returns {Window | undefined} */
export function worst(windows, spans) {
  const clear = windows.filter((w) => w.heard)
  /** @type {Window | undefined} */
  let found
  for (const w of clear.length ? clear : windows) {
    if (!found || Math.abs(leftover(w, spans)) > Math.abs(leftover(found, spans))) found = w
  }
  return found
}

/** Figures of the seam over the windows clearly heard, ms: where the middle one lies, within
 * which 95 % lie (the nearest-rank percentile of the distances), and the furthest.
 * @param {Window[]} windows @param {Span[]} spans
 * @returns {{heard: number, all: number, middle: number, within: number, furthest: number}} */
export function seamFigures(windows, spans) {
  const late = windows.filter((w) => w.heard).map((w) => leftover(w, spans)).sort((a, b) => a - b)
  const off = late.map(Math.abs).sort((a, b) => a - b)
  const n = late.length
  const middle = n ? (late[(n - 1) >> 1] + late[n >> 1]) / 2 : NaN
  return { heard: n, all: windows.length, middle, within: off[Math.max(0, Math.ceil(0.95 * n) - 1)] ?? NaN, furthest: off[n - 1] ?? NaN }
}

/** A splice: where the next span begins, and by how much the sound's time jumps there, ms
 * above 0: the recorder lost so much. Bends that jump by less than 1 µs jump by 0.
 * @param {Span[]} spans @returns {{at_s: number, lost_ms: number}[]} */
export const splices = (spans) => spans.slice(1).map((s, i) => {
  const jump = (along(s, s.from_s) - along(spans[i], s.from_s)) * 1000
  return { at_s: s.from_s, lost_ms: Math.abs(jump) < 1e-3 ? 0 : jump }
})

/** The seam's height for so many ms late, from -1 to 1. "ear": in proportion near 0, by powers of
 * ten further out, so that 1 ms and 100 ms both show; "fine": in proportion up to most.
 * @param {number} ms @param {{kind: 'ear' | 'fine', most: number}} scale @returns {number} */
export function seamHeight(ms, scale) {
  const y = scale.kind === 'fine' ? ms / scale.most : Math.asinh(ms) / Math.asinh(scale.most)
  return Math.max(-1, Math.min(1, y))
}

/** The end of the fine scale: the least of 0.1, 0.2, 0.5, 1, ... ms that holds all that was clearly heard.
 * @param {Window[]} windows @param {Span[]} spans @returns {number} ms */
export function fineMost(windows, spans) {
  let need = 0
  for (const w of windows) if (w.heard) need = Math.max(need, Math.abs(leftover(w, spans)) + w.error_ms)
  for (let decade = 0.1; decade < 1e6; decade *= 10) for (const m of [1, 2, 5]) if (m * decade >= need) return m * decade
  return 1e6
}

/** The part of a clip under which a sound lies: its seconds; from 0 to 0 where none does.
 * @param {Span[]} laid @param {number} clip  its length, s @param {number} sound  its length, s
 * @returns {{from: number, to: number}} */
export function covered(laid, clip, sound) {
  if (!laid.length || !sound) return { from: 0, to: 0 }
  const first = laid[0], last = laid[laid.length - 1]
  const begins = -first.offset_s / (1 + first.drift_ppm * 1e-6), ends = (sound - last.offset_s) / (1 + last.drift_ppm * 1e-6)
  return { from: Math.max(0, begins), to: Math.min(clip, ends) }
}
