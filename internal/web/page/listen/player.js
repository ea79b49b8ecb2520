/**
 * Plays both microphones from what is held of them: the heart of the audio worklet, kept free of it
 * so that it can be run and measured anywhere. It is told what to do by messages, and renders.
 *
 * Nothing ever stops or begins at once. What was heard goes on as a tail that fades out while what
 * comes next fades in, both along half a cosine, which together make one: a seek, a loop's join and
 * another line are all the same crossfade. A pause, the take's end and sound that has not come yet
 * are fades out alone.
 */

import { Store } from './buffer.js'
import { Glide, RATE, bend, framesFor, rampFrames, reach } from './gains.js'

/**
 * @typedef {object} Message
 * @property {'open' | 'block' | 'drop' | 'use' | 'end' | 'play' | 'pause' | 'seek' | 'loop' | 'gains' | 'echo' | 'close'} do
 * @property {number} [lay]     which laying of a take's sounds open, block, drop, use and end speak of
 * @property {number} [end]     open, end: frames in the take
 * @property {number} [index]   block: its index
 * @property {Float32Array} [data]   block: interleaved body and scratch
 * @property {number[]} [indices]    drop: indices of blocks
 * @property {number} [frame]   seek, use: where to
 * @property {number} [serial]  seek, use, echo: comes back in reports
 * @property {import('./buffer.js').Loop | null} [loop]
 * @property {number[]} [matrix]     gains
 * @property {number} [frames]       gains: how long they take; left out: as long as no step asks for
 */
/**
 * Where the playhead is: at frame `at` of the device's clock it is at frame `pos` of the clip.
 * @typedef {object} Report
 * @property {number} at
 * @property {number} pos
 * @property {boolean} moving
 * @property {boolean} waiting  for sound that has not come yet
 * @property {boolean} ended    the take's end was reached
 * @property {number} serial
 * @property {number} [echo]    all messages up to this one were obeyed
 */
/** @typedef {{store: Store, pos: number, level: Glide}} Voice */

/** How much must be ahead before playing goes on after it ran dry, in frames: 0.25 s. */
const REFILL = 0.25 * RATE

/** A loop's join takes no more than this part of the loop. */
const JOIN_PART = 1 / 8

/** How often the playhead is reported, in frames: 21 ms. */
const EVERY = 1024

/** How many frames a loop's end sounds on under its beginning, at the most. */
export const LONGEST_JOIN = framesFor(2)

/** A render is done in parts of at most so many frames. */
const PART = 128

export class Player {
  /** @param {(report: Report) => void} report */
  constructor(report) {
    this.report = report
    /** @type {Map<number, Store>} */
    this.stores = new Map()
    this.store = new Store(0)
    /** @type {Voice | null} what is heard, or null */
    this.lead = null
    /** @type {Voice[]} what fades out */
    this.tails = []
    /** @type {Message | null} a seek or use that waits for a fade's end */
    this.turn = null
    /** @type {Message | null} gains that wait for the end of a change */
    this.gainsNext = null
    this.gliding = false // slowly: nothing need wait for it
    /** @type {import('./buffer.js').Loop | null} */
    this.loop = null
    this.pos = 0 // where the next lead begins
    this.playing = false
    this.dry = false // ran out of sound
    this.ended = false
    this.closed = false
    this.serial = 0
    this.now = 0 // frame of the device's clock
    this.told = 0 // when the last report went
    this.gains = [0, 0, 0, 0].map((g) => new Glide(g))
    this.most = 0 // what the gains let full scale come to
    this.body = new Float32Array(PART)
    this.scratch = new Float32Array(PART)
    this.sums = [new Float32Array(PART), new Float32Array(PART)]
  }

  /** @param {Message} m */
  tell(m) {
    if (m.do === 'open' || m.do === 'block' || m.do === 'drop' || m.do === 'end') this.hold(m)
    else this.obey(m)
  }

  /**
   * Keeps what is brought.
   * @param {Message} m
   */
  hold(m) {
    const lay = Number(m.lay)
    if (m.do === 'open') this.stores.set(lay, new Store(Number(m.end)))
    const store = this.stores.get(lay)
    if (!store) return // of a laying that is heard no more
    if (m.do === 'block' && m.data) store.put(Number(m.index), m.data)
    if (m.do === 'drop') store.doom(m.indices ?? [])
    if (m.do === 'end') store.end = Number(m.end)
  }

  /** @param {Message} m */
  obey(m) {
    if (m.do === 'seek' || m.do === 'use') this.turn = { ...this.turn, ...m, do: this.turn?.do === 'use' ? 'use' : m.do }
    if (m.do === 'play') {
      this.playing = true
      this.ended = false
    }
    if (m.do === 'pause') this.playing = false
    if (m.do === 'loop') this.loop = m.loop ?? null
    if (m.do === 'gains') this.gainsNext = m
    if (m.do === 'close') this.closed = true
    if (m.do !== 'echo') this.heed()
    this.tellWhere(this.now, m.do === 'echo' ? m.serial : undefined)
  }

  /** Whether nothing fades at present. */
  get calm() {
    return this.tails.length === 0 && (!this.lead || this.lead.level.still)
  }

  /** Does what was asked for, as far as it need not wait. */
  heed() {
    if (this.gainsNext && (this.gliding || this.gains.every((g) => g.still))) this.weigh(this.gainsNext)
    if (!this.calm) return
    if (this.lead && !this.playing) this.halt()
    if (this.turn && this.calm) this.go(this.turn)
  }

  /** Goes where a seek or use wants. @param {Message} m */
  go(m) {
    this.turn = null
    if (this.lead) this.pos = this.lead.pos
    this.release(this.fade(2))
    if (m.do === 'use') {
      this.store = this.stores.get(Number(m.lay)) ?? this.store
      for (const [lay, store] of this.stores) if (store !== this.store && lay < Number(m.lay)) this.stores.delete(lay)
    }
    if (m.frame !== undefined) {
      this.pos = m.frame
      this.dry = false
      this.ended = false
    }
    this.serial = m.serial ?? this.serial
  }

  halt() {
    if (!this.lead) return
    this.pos = this.lead.pos
    this.release(this.fade(1))
    this.tellWhere(this.now)
  }

  /** @param {Message} m */
  weigh(m) {
    this.gainsNext = null
    const to = m.matrix ?? []
    const quick = rampFrames(this.gains.map((g) => g.value), to)
    const silent = !this.lead && this.tails.length === 0
    this.gliding = Number(m.frames) > quick
    this.gains.forEach((g, i) => g.move(to[i], silent ? 0 : (m.frames ?? quick)))
    this.most = reach(this.gains.map((g) => Math.max(g.value, g.to)))
  }

  /**
   * How many frames a fade takes at the present loudness.
   * @param {1 | 2} voices  2: one gives way to another
   */
  fade(voices) {
    return framesFor(voices * this.most)
  }

  /** @param {number} frames  in which the lead fades out */
  release(frames) {
    if (this.lead && this.lead.level.value > 0) {
      this.lead.level.move(0, frames)
      this.tails.push(this.lead)
    }
    this.lead = null
  }

  /** Frames of a loop's join. @param {import('./buffer.js').Loop} loop */
  joinOf(loop) {
    return Math.max(1, Math.min(this.fade(2), Math.floor((loop.to - loop.from) * JOIN_PART)))
  }

  /**
   * Whether a voice can go on for so many frames and still fade out on what is here.
   * @param {number} pos @param {number} frames
   */
  enough(pos, frames) {
    const { store, loop } = this
    if (!loop || pos >= loop.to || pos + frames < loop.to) return store.has(pos, pos + frames)
    const over = pos + frames - loop.to
    return store.has(pos, loop.to + this.joinOf(loop)) && store.has(loop.from, loop.from + over)
  }

  /** Begins, joins, ends or waits: whatever is due before the next frame. */
  arrange() {
    if (this.turn || this.gainsNext || (this.lead && !this.playing)) this.heed()
    const out = this.fade(1)
    if (this.lead && this.loop && this.lead.pos === this.loop.to) this.join(this.loop)
    if (this.lead && this.lead.pos >= this.store.end - out - PART) this.finish()
    if (this.lead && !this.enough(this.lead.pos, out + PART)) this.starve(out)
    if (this.lead || !this.playing || this.turn) return
    if (this.store.end > 0 && this.pos >= this.store.end) this.finish()
    else if (this.enough(this.pos, this.dry ? REFILL : 2 * this.fade(2) + PART)) this.begin()
  }

  begin() {
    const long = this.tails.length > 0 ? this.fade(2) : this.fade(1)
    this.lead = { store: this.store, pos: this.pos, level: new Glide(0) }
    this.lead.level.move(1, long)
    this.dry = false
    this.tellWhere(this.now)
  }

  /** @param {import('./buffer.js').Loop} loop */
  join(loop) {
    const long = this.joinOf(loop)
    this.release(long)
    this.lead = { store: this.store, pos: loop.from, level: new Glide(0) }
    this.lead.level.move(1, long)
    this.tellWhere(this.now)
  }

  finish() {
    if (this.lead) this.release(Math.max(1, this.store.end - this.lead.pos))
    if (this.turn) return // it goes elsewhere as soon as this has faded out
    this.pos = this.store.end
    this.playing = false
    this.ended = true
    this.tellWhere(this.now)
  }

  /**
   * Fades out on what is left, and waits where that ends.
   * @param {number} out  frames that a fade should take; all of them are here but when it just grew
   */
  starve(out) {
    if (!this.lead) return
    while (out > 1 && !this.store.has(this.lead.pos, this.lead.pos + out)) out--
    this.pos = Math.min(this.lead.pos + out, this.loop && this.lead.pos < this.loop.to ? this.loop.to - 1 : Infinity)
    this.release(out)
    this.dry = true
    this.tellWhere(this.now)
  }

  /** @param {number} at @param {number} [echo] */
  tellWhere(at, echo) {
    this.told = at
    const moving = this.lead !== null
    const pos = this.turn?.frame ?? this.lead?.pos ?? this.pos
    const serial = this.turn?.serial ?? this.serial
    this.report({ at, pos, moving, waiting: this.playing && !moving && this.store.end > 0, ended: this.ended, serial, echo })
  }

  /**
   * Renders both ears.
   * @param {Float32Array} left @param {Float32Array} right
   * @param {number} at  frame of the device's clock of their first value
   */
  render(left, right, at) {
    this.now = at
    for (let i = 0; i < left.length; ) {
      this.now = at + i
      this.arrange()
      const n = this.untilNext(Math.min(PART, left.length - i))
      this.mix(left, right, i, n)
      i += n
    }
    this.now = at + left.length
    if (this.now - this.told >= EVERY) this.tellWhere(this.now)
  }

  /** Frames until something is due, at most `most`. @param {number} most */
  untilNext(most) {
    if (!this.lead) return most
    const pos = this.lead.pos
    const due = this.loop && pos < this.loop.to ? this.loop.to : this.store.end
    return due > pos ? Math.min(most, due - pos) : most
  }

  /**
   * @param {Float32Array} left @param {Float32Array} right
   * @param {number} i @param {number} n
   */
  mix(left, right, i, n) {
    const [body, scratch] = this.sums
    body.fill(0)
    scratch.fill(0)
    for (const voice of this.tails) this.add(voice, n)
    if (this.lead) this.add(this.lead, n)
    if (this.tails.length > 0) this.tails = this.tails.filter((v) => !v.level.still)
    if (this.calm && !this.turn) this.store.clear()
    const [bl, sl, br, sr] = this.gains
    for (let k = 0; k < n; k++) {
      const b = body[k]
      const s = scratch[k]
      left[i + k] = bend(bl.next() * b + sl.next() * s)
      right[i + k] = bend(br.next() * b + sr.next() * s)
    }
  }

  /** @param {Voice} voice @param {number} n */
  add(voice, n) {
    voice.store.read(voice.pos, n, this.body, this.scratch)
    const [body, scratch] = this.sums
    for (let k = 0; k < n; k++) {
      const level = voice.level.next()
      body[k] += level * this.body[k]
      scratch[k] += level * this.scratch[k]
    }
    voice.pos += n
  }
}
