// Phrases and figures, the same everywhere on the page.

/** @param {number} n @param {string} one @param {string} [many] */
export const count = (n, one, many) => `${n.toLocaleString('en')} ${n === 1 ? one : many ?? one + 's'}`

const two = (/** @type {number} */ n) => String(n).padStart(2, '0')

/** A moment in a recording: "0:07", "1:02:03"; with digits, "0:07.250". @param {number} s @param {number} [digits] */
export function clock(s, digits = 0) {
  const unit = 10 ** digits
  const all = Math.round(Math.abs(s) * unit)
  const whole = Math.floor(all / unit)
  const h = Math.floor(whole / 3600)
  const m = Math.floor(whole / 60) % 60
  const sec = two(whole % 60) + (digits ? '.' + String(all % unit).padStart(digits, '0') : '')
  return (s < 0 && all ? '−' : '') + (h ? `${h}:${two(m)}:${sec}` : `${m}:${sec}`)
}

/** A length for the ear, its two largest parts: "2 minutes 5 seconds". @param {number} s */
export function spoken(s) {
  const all = Math.round(s)
  const h = Math.floor(all / 3600), m = Math.floor(all / 60) % 60, sec = all % 60
  return [h && count(h, 'hour'), m && count(m, 'minute'), !h && (sec || !m) && count(sec, 'second')].filter(Boolean).join(' ')
}

/** A time of the shoot's one clock, which may pass midnight: "14:03:22". @param {number} s @param {boolean} [short] without seconds */
export function dayTime(s, short) {
  const all = Math.round(s)
  const inDay = ((all % 86400) + 86400) % 86400
  return two(Math.floor(inDay / 3600)) + ':' + two(Math.floor(inDay / 60) % 60) + (short ? '' : ':' + two(inDay % 60))
}

/** Milliseconds, as fine as they matter: "0.04 ms", "3.2 ms", "61 ms", "1.250 s". @param {number} v */
export function ms(v) {
  const a = Math.abs(v)
  if (a < 0.005) return 'under 0.01 ms'
  if (a < 0.995) return `${a.toFixed(2)} ms`
  if (a < 99.95) return `${a.toFixed(1)} ms`
  return a < 999.5 ? `${Math.round(a)} ms` : `${(a / 1000).toFixed(3)} s`
}

/** Positive: the good sound is heard late. @param {number} v milliseconds */
export const late = (v) => (Math.abs(v) < 0.005 ? 'right on' : `${ms(v)} ${v > 0 ? 'late' : 'early'}`)

/** By how much a person laid it elsewhere. @param {number} v milliseconds, positive: later */
export const moved = (v) => `moved ${ms(v)} ${v > 0 ? 'later' : 'earlier'}`

/** @param {number} v parts per million */
export const ppm = (v) => `${v < 0 ? '−' : v > 0 ? '+' : ''}${Math.abs(v).toFixed(1)} ppm`

/** @param {number} v 0 to 1 */
export const chance = (v) => (v >= 0.005 ? `${Math.round(v * 100)} %` : v > 1e-6 ? `1 in ${Math.round(1 / v).toLocaleString('en')}` : 'under 1 in a million')

/** @param {number} v */
export function bytes(v) {
  if (v < 1e6) return `${Math.max(1, Math.round(v / 1e3))} kB`
  return v < 1e9 ? `${Math.round(v / 1e6)} MB` : `${(v / 1e9).toFixed(1)} GB`
}

const verdicts = { sure: 'sure', unsure: 'unsure', weighing: 'being weighed', hand: 'paired by hand' }

/** @param {import('../types').Take} t */
export const verdict = (t) => verdicts[t.verdict] ?? t.verdict

/** What is to be said of an item of the wall: its state in a word, and why. @param {import('../types').Item} i @returns {{word: string, why: string}} */
export function told(i) {
  const { recording: r, take: t } = i
  if (i.kind === 'failed') return { word: 'not read', why: r.error ?? '' }
  if (i.kind === 'alone') return { word: 'alone', why: r.alone?.[0] ?? '' }
  if (!t) return { word: r.state === 'reading' ? 'being read' : r.state === 'waiting' ? 'waiting' : 'being weighed', why: '' }
  const marks = [t.moved_ms && moved(t.moved_ms), t.word.approved && 'approved'].filter(Boolean).join(', ')
  return { word: verdict(t) + (marks ? `, ${marks}` : ''), why: t.why?.[0] ?? '' }
}

/** What a step was, and of which clips. @param {import('../types').Step} s @param {import('../types').Recording[]} recordings */
export function stepSays(s, recordings) {
  const clip = recordings.find((r) => r.id === s.take)
  return s.label + (clip ? `, ${clip.name}` : '') + (s.more ? ` and ${s.more} more` : '')
}

/** A base name of a path of any system. @param {string} path */
export const base = (path) => path.replace(/[/\\]+$/, '').replace(/^.*[/\\]/, '') || path
