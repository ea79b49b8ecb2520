/**
 * How loud each microphone comes to each ear, and how that changes without a click. Pure arithmetic.
 *
 * A change of gain moves along half a cosine. Its steepest step from one frame to the next is π/2
 * of the whole change divided by its frames, and what is heard steps by no more than that times
 * full scale. rampFrames turns it round: a change takes as long as keeps the step under STEP.
 */

/** Frames a second of everything that is listened to. */
export const RATE = 48000

/** The largest step that a change of gain may make, of full scale: −60 dB. */
export const STEP = 0.001

/** No change is quicker, in frames: 25 ms. */
export const SHORTEST = 0.025 * RATE

/** How long loudness takes when only the knowledge of it changed, in frames: 2 s. */
export const GLIDE = 2 * RATE

/** The volume a page begins with: −20 dB of full. */
export const QUIET = 0.1

/** Loudness is matched by at most so many dB; what is fainter than that is as good as silent. */
export const MOST = 40

/** @typedef {'both' | 'split' | 'body' | 'scratch'} Hearing  what is heard */
/**
 * Gains: body to the left ear, scratch to the left, body to the right, scratch to the right.
 * @typedef {[number, number, number, number]} Matrix
 */
/** @typedef {{body: number, scratch: number}} Match  a gain for each, none above 1 */

/** @type {Record<Hearing, Matrix>} */
const MATRICES = {
  both: [0.5, 0.5, 0.5, 0.5], // −6 dB each: two at full scale fit
  split: [1, 0, 0, 1],
  body: [1, 0, 1, 0],
  scratch: [0, 1, 0, 1],
}

/** @param {number} db @returns {number} the gain */
export const gainOf = (db) => 10 ** (db / 20)

/** @param {number} gain @returns {number} dB; −Infinity for 0 */
export const decibels = (gain) => 20 * Math.log10(gain)

/**
 * The gains that make both equally loud: the louder one is turned down, the other left alone.
 * @param {number | null | undefined} body     LUFS; null or missing: silent or not known
 * @param {number | null | undefined} scratch  LUFS
 * @returns {Match}
 */
export function matched(body, scratch) {
  if (!Number.isFinite(body) || !Number.isFinite(scratch)) return { body: 1, scratch: 1 }
  const louder = Number(body) - Number(scratch) // dB by which the body mic is louder
  const down = gainOf(-Math.min(Math.abs(louder), MOST))
  return louder > 0 ? { body: down, scratch: 1 } : { body: 1, scratch: down }
}

/**
 * @param {Hearing} hearing
 * @param {Match} match
 * @param {number} volume  0 to 1, a gain
 * @returns {Matrix}
 */
export function matrix(hearing, match, volume) {
  const [bl, sl, br, sr] = MATRICES[hearing]
  return [bl * match.body * volume, sl * match.scratch * volume, br * match.body * volume, sr * match.scratch * volume]
}

/**
 * What a mode makes heard. Flip goes from the one to the other.
 * @param {Hearing | 'flip'} mode
 * @param {Hearing} now  what is heard at present
 * @returns {Hearing}
 */
export function hearingOf(mode, now) {
  if (mode !== 'flip') return mode
  return now === 'body' ? 'scratch' : 'body'
}

/**
 * How many frames a change of gain takes so that no step exceeds STEP at full scale.
 * @param {number} change  by how much the gains of one ear change, added up
 */
export const framesFor = (change) => Math.max(SHORTEST, Math.ceil(((Math.PI / 2) * change) / STEP))

/**
 * How many frames it takes from one matrix to another.
 * @param {ArrayLike<number>} from
 * @param {ArrayLike<number>} to
 */
export function rampFrames(from, to) {
  const by = (/** @type {number} */ i) => Math.abs(to[i] - from[i])
  return framesFor(Math.max(by(0) + by(1), by(2) + by(3)))
}

/**
 * The most that a full-scale sound comes to in either ear.
 * @param {ArrayLike<number>} m
 */
export const reach = (m) => Math.max(m[0] + m[1], m[2] + m[3])

/** Below it sound passes untouched; what lies above is bent under full scale. */
const KNEE = 0.97

/**
 * Keeps a sample within full scale without a corner: a safety net, since the gains never boost.
 * @param {number} x
 */
export function bend(x) {
  const over = Math.abs(x) - KNEE
  return over <= 0 ? x : Math.sign(x) * (KNEE + (1 - KNEE) * Math.tanh(over / (1 - KNEE)))
}

/** A value that moves to another along half a cosine, one step a frame. */
export class Glide {
  /** @param {number} value */
  constructor(value) {
    this.value = value
    this.from = value
    this.to = value
    this.step = 0
    this.steps = 0
  }

  get still() {
    return this.step >= this.steps
  }

  /** @param {number} to @param {number} frames  0: at once */
  move(to, frames) {
    this.from = this.value
    this.to = to
    this.step = 0
    this.steps = frames
    if (frames <= 0) this.value = to
  }

  /** Goes one frame on. @returns {number} the value there */
  next() {
    if (this.step < this.steps) {
      this.step++
      const w = 0.5 - 0.5 * Math.cos((Math.PI * this.step) / this.steps)
      this.value = this.step === this.steps ? this.to : this.from + (this.to - this.from) * w
    }
    return this.value
  }
}
