// Sounds that are formulas of the frame, the same to whoever streams them and whoever checks them.
import { noiseAt, sine } from './listen-rig.mjs'

const FULL = 0.97
const one = () => 0.5, none = () => 0

/** Changes sign every 3 s: the worst that a fade can go between. */
const turning = (k) => (Math.floor(k / 144_000) % 2 ? FULL : -FULL)

/** @type {Record<string, {body: (k: number) => number, scratch: (k: number) => number}>} */
export const sounds = {
  // The scratch sound is the body mic's, 137 frames later.
  apart: { body: (k) => 0.9 * noiseAt(1, k), scratch: (k) => 0.9 * noiseAt(1, k - 137) },
  sine: { body: sine(997, FULL), scratch: sine(997, -FULL) },
  noise: { body: (k) => FULL * noiseAt(3, k), scratch: (k) => FULL * noiseAt(4, k) },
  bodyOnly: { body: one, scratch: none },
  scratchOnly: { body: none, scratch: one },
  // A hiss, and a dull hum with some hiss 14 dB or so under it.
  loud: { body: (k) => 0.5 * noiseAt(5, k), scratch: (k) => 0.1 * sine(180, 1)(k) + 0.03 * noiseAt(6, k) },
  late: { body: turning, scratch: turning },
}
