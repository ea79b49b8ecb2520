/**
 * Brings one laying of a take's two microphones from the program, block by block, as far ahead of
 * the playhead as buffer.js says, and lets go of what lies behind. Needs nothing of a browser but
 * streams and AbortController.
 */

import { AHEAD, BEHIND, BLOCK, course, firstMissing, worthKeeping } from './buffer.js'
import { LONGEST_JOIN } from './player.js'

/** Frames are two float32 each. */
const BYTES = 8

/** How long to wait before asking again after n failures, in ms. */
const patience = (/** @type {number} */ n) => Math.min(3000, 100 * 2 ** n)

/**
 * @typedef {object} Ways
 * @property {(from: number, to: number, signal: AbortSignal) => Promise<ReadableStream<Uint8Array>>} open  interleaved body and scratch of [from, to)
 * @property {(index: number, data: Float32Array<ArrayBuffer>) => void} block  another block is here
 * @property {(indices: number[]) => void} drop    these are needed no more
 * @property {(end: number) => void} end           the sound ended here
 * @property {(why: unknown) => void} trouble      what went wrong; null once it goes again
 */

export class Feed {
  /** @param {number} end  frames in the take @param {Ways} ways */
  constructor(end, ways) {
    this.end = end
    this.ways = ways
    /** @type {Set<number>} */
    this.held = new Set()
    /** @type {AbortController | null} the stream that is open */
    this.run = null
    this.next = 0 // the block that the stream brings next
    this.failures = 0
    /** @type {ReturnType<typeof setTimeout> | null} runs while it is too early to ask again */
    this.pause = null
    /** @type {[number, import('./buffer.js').Loop | null, boolean]} what tend was last told */
    this.told = [0, null, false]
    /** @type {() => void} */
    this.goOn = () => {}
    /** @type {import('./buffer.js').Loop[]} */
    this.course = []
    this.closed = false
  }

  /** Whether so many frames from a position on are here. @param {number} from @param {number} frames */
  has(from, frames) {
    return firstMissing([{ from, to: Math.min(this.end, from + frames) }], (i) => this.held.has(i)) < 0
  }

  get wanted() {
    return firstMissing(this.course, (i) => this.held.has(i))
  }

  /**
   * Sees to it that what is needed next comes.
   * @param {number} pos     where the playhead is
   * @param {import('./buffer.js').Loop | null} loop
   * @param {boolean} playing
   */
  tend(pos, loop, playing) {
    if (this.closed) return
    this.told = [pos, loop, playing]
    this.course = course(pos, loop, this.end, AHEAD, LONGEST_JOIN)
    const gone = [...this.held].filter((i) => !worthKeeping(this.course, i, BEHIND))
    gone.forEach((i) => this.held.delete(i))
    if (gone.length > 0) this.ways.drop(gone)
    const wanted = this.wanted
    if (wanted < 0 && !playing) this.stop()
    if (wanted >= 0 && wanted !== this.next) this.stop()
    if (wanted >= 0 && !this.run && !this.pause) void this.pump(wanted)
    this.goOn()
  }

  /** @param {number} index  the block to begin with */
  async pump(index) {
    const run = new AbortController()
    this.run = run
    this.next = index
    try {
      const stream = await this.ways.open(index * BLOCK, this.end, run.signal)
      await this.drain(stream.getReader(), run)
    } catch (why) {
      if (run.signal.aborted) return
      this.failures++
      this.pause = setTimeout(() => this.again(), patience(this.failures))
      if (this.failures > 1) this.ways.trouble(why) // a connection may break once
    }
    if (this.run === run) this.run = null
  }

  /** Asks again after a failure. */
  again() {
    if (this.pause) clearTimeout(this.pause)
    this.pause = null
    this.tend(...this.told)
  }

  /** @param {ReadableStreamDefaultReader<Uint8Array>} reader @param {AbortController} run */
  async drain(reader, run) {
    let block = new Float32Array(2 * BLOCK)
    let filled = 0 // bytes
    while (!run.signal.aborted) {
      await this.room(run)
      const { done, value } = await reader.read()
      if (run.signal.aborted) return
      if (done) return this.last(block, Math.floor(filled / BYTES))
      for (let i = 0; i < value.length; ) {
        const n = Math.min(value.length - i, BLOCK * BYTES - filled)
        new Uint8Array(block.buffer).set(value.subarray(i, i + n), filled)
        filled += n
        i += n
        if (filled < BLOCK * BYTES) break
        this.bring(block)
        block = new Float32Array(2 * BLOCK)
        filled = 0
      }
    }
  }

  /** Waits while the stream has nothing that is wanted. @param {AbortController} run */
  async room(run) {
    while (!run.signal.aborted && this.wanted !== this.next) {
      await new Promise((resolve) => {
        this.goOn = () => resolve(undefined)
      })
    }
  }

  /** @param {Float32Array<ArrayBuffer>} block */
  bring(block) {
    if (this.failures > 0) {
      this.failures = 0
      this.ways.trouble(null)
    }
    this.held.add(this.next)
    this.ways.block(this.next, block)
    this.next++
  }

  /** The stream is at its end. @param {Float32Array<ArrayBuffer>} block @param {number} frames */
  last(block, frames) {
    const end = this.next * BLOCK + frames
    if (frames > 0) this.bring(block)
    if (end >= this.end) return
    this.end = end
    this.ways.end(end)
  }

  stop() {
    this.run?.abort()
    this.run = null
    this.goOn()
  }

  close() {
    this.closed = true
    if (this.pause) clearTimeout(this.pause)
    this.stop()
  }
}
