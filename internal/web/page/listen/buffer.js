/**
 * What is held of a take's two microphones, which of it is needed next, and where in the clip the
 * sound of a moment is. Pure: no browser. Positions are frames at 48000 Hz from the clip's zero,
 * whole numbers; ranges include their beginning and exclude their end.
 */

import { RATE } from './gains.js'

/** Frames in a block; blocks lie on multiples of it. 85 ms. */
export const BLOCK = 4096

/** How far ahead of the playhead sound is fetched, in frames: 15 s. */
export const AHEAD = 15 * RATE

/** How much is kept behind it, in frames: 10 s. */
export const BEHIND = 10 * RATE

/** @typedef {{from: number, to: number}} Loop  frames */

/** Blocks of interleaved body and scratch, 2·BLOCK samples each. */
export class Store {
  /** @param {number} end  frames in the take */
  constructor(end) {
    this.end = end
    /** @type {Map<number, Float32Array>} */
    this.blocks = new Map()
    /** @type {Set<number>} blocks that go at the next clear */
    this.doomed = new Set()
  }

  /** @param {number} index @param {Float32Array} block */
  put(index, block) {
    this.blocks.set(index, block)
    this.doomed.delete(index)
  }

  /** Marks blocks that are wanted no more; they may still be fading out. @param {number[]} indices */
  doom(indices) {
    for (const i of indices) this.doomed.add(i)
  }

  /** Lets go of what is marked. */
  clear() {
    if (this.doomed.size === 0) return
    for (const i of this.doomed) this.blocks.delete(i)
    this.doomed.clear()
  }

  /**
   * Whether all of [from, to) is here. What lies before 0 or after the end is silence, and here.
   * @param {number} from @param {number} to
   */
  has(from, to) {
    const last = Math.min(to, this.end)
    for (let at = Math.max(0, from); at < last; at = (Math.floor(at / BLOCK) + 1) * BLOCK) {
      if (!this.blocks.has(Math.floor(at / BLOCK))) return false
    }
    return true
  }

  /**
   * Reads n frames from a position on; what is not here is silence.
   * @param {number} from @param {number} n
   * @param {Float32Array} body @param {Float32Array} scratch  n values are written
   */
  read(from, n, body, scratch) {
    for (let i = 0; i < n; ) {
      const at = from + i
      const index = Math.floor(at / BLOCK)
      const stop = Math.min(n, (index + 1) * BLOCK - from)
      const block = at < this.end ? this.blocks.get(index) : undefined
      for (let j = 2 * (at - index * BLOCK); i < stop; i++, j += 2) {
        const here = block !== undefined && from + i < this.end
        body[i] = here ? block[j] : 0
        scratch[i] = here ? block[j + 1] : 0
      }
    }
  }
}

/**
 * The stretches that will be heard from a position on, in order, `ahead` frames of them.
 * @param {number} at @param {Loop | null} loop @param {number} end
 * @param {number} ahead
 * @param {number} join  frames that are heard past a loop's end, while it fades into the beginning
 * @returns {Loop[]}
 */
export function course(at, loop, end, ahead, join) {
  if (!loop || at >= loop.to) return [{ from: at, to: Math.min(end, at + ahead) }]
  const out = [{ from: at, to: Math.min(end, loop.to + join, at + ahead) }]
  if (at + ahead > loop.to) out.push({ from: loop.from, to: Math.min(end, loop.to + join, loop.from + ahead) })
  return out
}

/**
 * The first block along a course that is not held, or −1.
 * @param {Loop[]} course @param {(index: number) => boolean} held
 */
export function firstMissing(course, held) {
  for (const part of course) {
    for (let i = Math.floor(part.from / BLOCK); i * BLOCK < part.to; i++) if (!held(i)) return i
  }
  return -1
}

/**
 * Whether a block is still worth its memory: along the course, or a little behind its beginning.
 * @param {Loop[]} course @param {number} index @param {number} behind  frames
 */
export function worthKeeping(course, index, behind) {
  const from = index * BLOCK
  return course.some((part, i) => from + BLOCK > part.from - (i === 0 ? behind : 0) && from < part.to + BLOCK)
}

/** @typedef {{at: number, pos: number, moving: boolean, serial: number}} Anchor  at: frame of the device's clock */

/** How far back anchors are kept, in frames: 3 s, more than any device is late. */
const MEMORY = 3 * RATE

/** Knows from the worklet's reports which frame of the clip is heard at a frame of the device's clock. */
export class Clock {
  /** @param {number} pos */
  constructor(pos) {
    /** @type {Anchor[]} */
    this.anchors = []
    this.serial = 0
    this.pos = pos
  }

  /**
   * A seek: from here on reports of before it do not count.
   * @param {number} pos @param {number} serial
   */
  set(pos, serial) {
    this.anchors = []
    this.pos = pos
    this.serial = serial
  }

  /** @param {Anchor} anchor */
  add(anchor) {
    if (anchor.serial !== this.serial) return
    const last = this.anchors.at(-1)
    const runsOn = last && last.moving && anchor.moving && last.pos - last.at === anchor.pos - anchor.at
    if (!runsOn) this.anchors.push(anchor)
    while (this.anchors.length > 1 && this.anchors[1].at < anchor.at - MEMORY) this.anchors.shift()
    this.pos = anchor.pos
  }

  /**
   * @param {number} at  frame of the device's clock, need not be whole
   * @returns {number}   frame of the clip heard then
   */
  heard(at) {
    if (this.anchors.length === 0) return this.pos
    const a = this.anchors.findLast((x) => x.at <= at) ?? this.anchors[0]
    return a.moving ? a.pos + Math.max(0, at - a.at) : a.pos
  }
}
