/**
 * One stream made of answers that each end by themselves: a browser has six connections to a program
 * in all, and an answer that is read only as fast as it is played would hold one for as long. An
 * answer is read to its end at once, and the next one is asked for when that is used up. Pieces
 * join exactly: a laying gives the same sound from wherever one begins. Needs nothing of a browser
 * but streams.
 */

import { RATE } from './gains.js'

/** The first piece, in frames; it comes soonest when it is short. */
const FIRST = 4 * RATE

/** No piece is longer: 16 s, 6 MB. Each is twice the one before, for each costs the start of two decoders. */
const LONGEST = 16 * RATE

/** Frames are two float32 each. */
const BYTES = 8

/**
 * The stream of [from, to).
 * @param {number} from @param {number} to  frames
 * @param {AbortSignal} signal
 * @param {(from: number, to: number) => Promise<ReadableStream<Uint8Array>>} ask
 * @returns {ReadableStream<Uint8Array>}
 */
export function joined(from, to, signal, ask) {
  /** @type {Piece | null} */
  let piece = null
  let at = from
  let frames = FIRST
  return new ReadableStream({
    async pull(out) {
      for (;;) {
        if (!piece) {
          if (at >= to) return out.close()
          const end = Math.min(to, at + frames)
          piece = new Piece(await ask(at, end), (end - at) * BYTES)
          at = end
          frames = Math.min(LONGEST, 2 * frames)
        }
        const chunk = await piece.next()
        if (chunk) return out.enqueue(chunk)
        if (piece.missing > 0) return out.close() // the sound ends here
        piece = null
      }
    },
    start(out) {
      signal.addEventListener('abort', () => out.error(new DOMException('stopped', 'AbortError')))
    },
  }, { highWaterMark: 0 })
}

/** An answer that is read as fast as it comes, and given on as it is asked for. */
class Piece {
  /** @param {ReadableStream<Uint8Array>} stream @param {number} missing  bytes to come */
  constructor(stream, missing) {
    this.missing = missing
    /** @type {Uint8Array[]} */
    this.chunks = []
    this.done = false
    /** @type {unknown} */
    this.broken = null
    this.come = () => {}
    void this.read(stream.getReader())
  }

  /** @param {ReadableStreamDefaultReader<Uint8Array>} reader */
  async read(reader) {
    try {
      for (;;) {
        const { done, value } = await reader.read()
        if (done) break
        this.missing -= value.length
        this.chunks.push(value)
        this.come()
      }
    } catch (why) {
      this.broken = why ?? new Error('the answer broke off')
    }
    this.done = true
    this.come()
  }

  /** The next chunk, or undefined at the end. @returns {Promise<Uint8Array | undefined>} */
  async next() {
    while (!this.chunks.length && !this.done) {
      await new Promise((resolve) => {
        this.come = () => resolve(undefined)
      })
    }
    if (!this.chunks.length && this.broken) throw this.broken
    return this.chunks.shift()
  }
}
