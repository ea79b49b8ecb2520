// Speech-like waves out of numbers alone: the same every time, computable at
// any moment, so that a body mic and a scratch track can be made of one voice
// with a known offset and drift between them.

/** A number from 0 to 1 for two whole numbers, always the same. */
export function hash(a, b) {
  let h = Math.imul(a ^ 0x9e3779b9, 0x85ebca6b) ^ Math.imul(b ^ 0x7f4a7c15, 0xc2b2ae35)
  h = Math.imul(h ^ (h >>> 15), 0x2c1b3c6d)
  h = Math.imul(h ^ (h >>> 12), 0x297a2d39)
  return ((h ^ (h >>> 15)) >>> 0) / 2 ** 32
}

const syllable = 0.21 // seconds
const clapEvery = 47 // seconds

/** How loud the voice is at s, 0 to 1. */
export function envelope(seed, s) {
  const cell = Math.floor(s / syllable)
  const x = s / syllable - cell
  const phrase = Math.floor(cell / 11)
  if (hash(seed + 77, phrase) < 0.28) return 0.004
  const loud = 0.25 + 0.75 * hash(seed, cell)
  const shape = Math.min(1, x / 0.12) * Math.exp(-2.2 * x)
  return hash(seed + 5, cell) < 0.12 ? 0.01 : loud * shape
}

function clap(s) {
  const since = s - 3 - clapEvery * Math.floor((s - 3) / clapEvery)
  return since >= 0 && since < 0.06 && s >= 0 ? Math.exp(-since * 120) : 0
}

/** Moments of sharp sounds from a to b, seconds on the sound's clock. */
export function claps(a, b) {
  const all = []
  for (let k = Math.max(0, Math.ceil((a - 3) / clapEvery)); 3 + k * clapEvery < b; k++) all.push(3 + k * clapEvery)
  return all
}

function hiss(seed, s) {
  const i = Math.floor(s * 9000)
  const x = s * 9000 - i
  return (hash(seed, i) * (1 - x) + hash(seed, i + 1) * x) * 2 - 1
}

/** What the body mic hears at s, -1 to 1. */
export function body(seed, s) {
  const e = envelope(seed, s)
  const cell = Math.floor(s / syllable)
  const f = 105 + 70 * hash(seed + 9, Math.floor(cell / 3)) + 12 * Math.sin(s * 5)
  const p = 2 * Math.PI * f * s
  const voice = Math.sin(p) + 0.6 * Math.sin(2 * p + 1) + 0.45 * Math.sin(3 * p + 2) + 0.3 * Math.sin(7 * p) + 0.2 * Math.sin(11 * p)
  const breath = hash(seed + 3, cell) < 0.3 ? 0.8 : 0.12
  const c = clap(s)
  return e * (0.3 * voice + breath * 0.4 * hiss(seed, s)) + (c ? 0.9 * c * hiss(seed + 1, s) : 0) + 0.0006 * hiss(seed + 2, s)
}

/** What a camera some metres away hears of it. */
export function scratch(seed, s) {
  return 0.24 * body(seed, s) + 0.1 * body(seed, s - 0.0143) + 0.06 * body(seed, s - 0.0391) + 0.018 * hiss(seed + 40, s) + 0.008 * Math.sin(2 * Math.PI * 50 * s)
}

/**
 * One bin of a wave: its lowest, highest and root mean square, from a few
 * moments of a short bin, from the loudness of a long one.
 */
export function bin(wave, seed, s, length, gain) {
  let low = 0, high = 0, square = 0
  if (length <= 0.07) {
    const n = Math.min(48, Math.max(12, Math.round(length * 2000)))
    for (let k = 0; k < n; k++) {
      const v = wave(seed, s + ((k + 0.5) * length) / n)
      if (!k || v < low) low = v
      if (!k || v > high) high = v
      square += (v * v) / n
    }
    return [low, high, Math.sqrt(square)]
  }
  let most = 0
  const n = Math.min(64, Math.ceil(length / 0.05))
  for (let k = 0; k < n; k++) {
    const at = s + ((k + 0.5) * length) / n
    const e = envelope(seed, at)
    most = Math.max(most, e)
    square += (e * e) / n
  }
  if (claps(s, s + length).length) most = 1
  const jag = 0.85 + 0.15 * hash(seed, Math.floor(s * 50))
  return [(-0.7 * most * jag - 0.02) * gain, (0.78 * most + 0.02) * gain, (0.4 * Math.sqrt(square) + 0.008) * gain]
}
