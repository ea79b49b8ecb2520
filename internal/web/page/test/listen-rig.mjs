// Runs the player as the audio worklet does, on sounds that are formulas, for the tests beside it.
import { BLOCK } from '../listen/buffer.js'
import { RATE } from '../listen/gains.js'
import { Player } from '../listen/player.js'

export const QUANTUM = 128

/** dB of full scale. @param {number} x */
export const dB = (x) => 20 * Math.log10(Math.max(x, 1e-12))

/** A stream of even numbers in (−1, 1). @param {number} seed */
export function random(seed) {
  let a = seed >>> 0
  return () => {
    a = (a + 0x6d2b79f5) >>> 0
    let t = Math.imul(a ^ (a >>> 15), 1 | a)
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t
    return ((t ^ (t >>> 14)) >>> 0) / 2147483648 - 1
  }
}

/** The k-th of a row of even numbers in (−1, 1), in any order. @param {number} seed @param {number} k */
export const noiseAt = (seed, k) => random(Math.imul(seed, 0x9e3779b1) ^ Math.imul(k, 0x85ebca6b))()

/** @param {number} hz @param {number} gain */
export const sine = (hz, gain) => (/** @type {number} */ k) => gain * Math.sin((2 * Math.PI * hz * k) / RATE)

/**
 * A block of a take. @param {number} index
 * @param {(k: number) => number} body @param {(k: number) => number} scratch
 */
export function block(index, body, scratch) {
  const data = new Float32Array(2 * BLOCK)
  for (let k = 0; k < BLOCK; k++) {
    data[2 * k] = body(index * BLOCK + k)
    data[2 * k + 1] = scratch(index * BLOCK + k)
  }
  return data
}

/** A player with a take of so many frames, all of it there unless blocks says which. */
export function rig({ body, scratch = body, end = 20 * RATE, held = (/** @type {number} */ _) => true }) {
  /** @type {import('../listen/player.js').Report[]} */
  const reports = []
  const player = new Player((r) => reports.push(r))
  const give = (/** @type {number} */ index, lay = 1) => player.tell({ do: 'block', lay, index, data: block(index, body, scratch) })
  player.tell({ do: 'open', lay: 1, end })
  for (let i = 0; i * BLOCK < end; i++) if (held(i)) give(i)
  player.tell({ do: 'use', lay: 1, frame: 0, serial: 1 })
  let at = 0
  /** Renders frames; before each quantum `before` may tell the player something. */
  const run = (/** @type {number} */ frames, before = (/** @type {number} */ _at) => {}) => {
    const left = new Float32Array(frames), right = new Float32Array(frames)
    for (let i = 0; i < frames; i += QUANTUM) {
      before(at)
      const n = Math.min(QUANTUM, frames - i)
      player.render(left.subarray(i, i + n), right.subarray(i, i + n), at)
      at += n
    }
    return { left, right }
  }
  return { player, reports, give, run }
}

/** The largest difference of neighbours. @param {Float32Array} y */
export function largestStep(y) {
  let most = 0
  for (let i = 1; i < y.length; i++) most = Math.max(most, Math.abs(y[i] - y[i - 1]))
  return most
}

/**
 * The largest value above so many Hz: a click holds all frequencies, a slow change of a low tone
 * holds none there. A linear-phase filter: a sinc under a Blackman window of 481 taps, whose stop
 * band lies 74 dB down and begins 275 Hz under the cut (Oppenheim & Schafer, Discrete-Time Signal
 * Processing, windows for FIR filters); used twice, 148 dB.
 * @param {Float32Array} y @param {number} hz
 */
export function largestAbove(y, hz) {
  const half = 240
  const taps = Float64Array.from({ length: 2 * half + 1 }, (_, i) => {
    const n = i - half
    const low = n === 0 ? (2 * hz) / RATE : Math.sin((2 * Math.PI * hz * n) / RATE) / (Math.PI * n)
    const w = 0.42 + 0.5 * Math.cos((Math.PI * n) / half) + 0.08 * Math.cos((2 * Math.PI * n) / half)
    return (n === 0 ? 1 : 0) - low * w
  })
  const once = filter(Float64Array.from(y), taps)
  return filter(once, taps).reduce((most, x) => Math.max(most, Math.abs(x)), 0)
}

/** Only where all taps lie within. @param {Float64Array} x @param {Float64Array} taps */
function filter(x, taps) {
  const out = new Float64Array(Math.max(0, x.length - taps.length + 1))
  for (let i = 0; i < out.length; i++) {
    let sum = 0
    for (let k = 0; k < taps.length; k++) sum += taps[k] * x[i + k]
    out[i] = sum
  }
  return out
}
