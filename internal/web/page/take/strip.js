// The strip: true frames of the picture around the playhead, each as long as it
// shows. They are fetched when the playhead has come to rest.

import { fill, h, say } from '../common/dom.js'
import { nearestClap } from './marks.js'
import { clock, ms } from '../common/words.js'

/** @typedef {{at_s: number, until_s: number, jpeg: string}} Frame */

const REST = 180 // ms that the playhead rests before frames are fetched
const FRAMES = 11

/** Which of the frames shows at a moment; -1 where none does.
 * @param {Pick<Frame, 'at_s' | 'until_s'>[]} frames @param {number} t  seconds @returns {number} */
export const showing = (frames, t) => frames.findIndex((f) => t >= f.at_s - 1e-6 && t < f.until_s - 1e-6)

/** How far a frame's beginning lies from a clap: "2 frames before the clap, 78.3 ms".
 * @param {Pick<Frame, 'at_s' | 'until_s'>[]} frames @param {number} k @param {number} clap  seconds @returns {string} */
export function fromClap(frames, k, clap) {
  const hit = showing(frames, clap)
  if (hit === k) return `the clap, ${ms((clap - frames[k].at_s) * 1000)} into it`
  const off = (frames[k].at_s - clap) * 1000
  const n = hit < 0 ? '' : `${Math.abs(k - hit)} frame${Math.abs(k - hit) === 1 ? '' : 's'}, `
  return `${n}${ms(off)} ${off > 0 ? 'after' : 'before'} the clap`
}

export class Strip {
  /** @param {{api: import('../common/api.js').API, seek: (t: number) => void}} o */
  constructor({ api, seek }) {
    this.api = api
    this.seek = seek
    this.list = h('ol', { class: 'frames' })
    this.line = h('p', { class: 'small quiet' })
    this.root = h('section', { class: 'strip', 'aria-label': 'Frames around the playhead' }, this.list, this.line)
    this.clip = ''
    this.t = 0
    /** @type {import('../glass/lines.js').Clap[]} */
    this.claps = []
    /** @type {Frame[]} */
    this.frames = []
    /** @type {string[]} */
    this.images = []
    this.timer = 0
    this.now = -1 // the frame marked as the one that shows
    this.asked = NaN // the moment around which frames are there, or are coming
    this.stop = new AbortController()
  }

  /** @param {import('../types').Recording} clip @param {import('../glass/lines.js').Clap[]} claps */
  load(clip, claps) {
    this.claps = claps
    this.root.hidden = !clip.picture
    if (this.clip === clip.id) return
    this.clip = clip.id
    this.frames = []
    this.asked = NaN
    fill(this.list)
    this.at(this.t)
  }

  /** The playhead is here now. @param {number} t  clip seconds */
  at(t) {
    this.t = t
    if (this.root.hidden || !this.clip) return
    this.#mark()
    if (t === this.asked) return
    this.asked = t
    clearTimeout(this.timer)
    this.timer = window.setTimeout(() => this.#bring(), REST)
  }

  async #bring() {
    this.stop.abort()
    this.stop = new AbortController()
    const { signal } = this.stop
    const at = this.t
    try {
      const w = Math.min(480, Math.max(120, 60 * Math.ceil((this.list.clientWidth * devicePixelRatio) / FRAMES / 60)))
      const got = await this.api.strip(this.clip, { at, n: FRAMES, w }, signal)
      if (signal.aborted) return
      this.frames = got.frames ?? []
      this.#show()
    } catch (err) {
      if (!signal.aborted) say(this.line, `No frames: ${err instanceof Error ? err.message : err}.`)
    }
  }

  /** The address of a frame's picture, good until the next strip. @param {Frame} f */
  #image(f) {
    const url = URL.createObjectURL(new Blob([Uint8Array.from(atob(f.jpeg), (c) => c.charCodeAt(0))], { type: 'image/jpeg' }))
    this.images.push(url)
    return url
  }

  #forget() {
    for (const url of this.images.splice(0)) URL.revokeObjectURL(url)
  }

  #show() {
    this.now = -1
    this.#forget()
    fill(this.list, this.frames.map((f) => h('li', null,
      h('button', { type: 'button', onclick: () => this.seek(f.at_s) },
        h('img', { src: this.#image(f), alt: `Frame at ${clock(f.at_s, 3)}`, decoding: 'async' }),
        h('span', { class: 'small' }, clock(f.at_s, 3))))))
    this.#mark()
  }

  /** Marks the frame that shows, and says where it stands. */
  #mark() {
    const now = showing(this.frames, this.t)
    if (now !== this.now) [...this.list.children].forEach((li, k) => {
      const button = /** @type {HTMLElement} */ (li.firstElementChild)
      if (k === now) button.setAttribute('aria-current', 'true')
      else button.removeAttribute('aria-current')
    })
    if (now !== this.now && now >= 0) this.#center(/** @type {HTMLElement} */ (this.list.children[now]))
    this.now = now
    const clap = nearestClap(this.claps, this.t)
    const near = clap && Math.abs(clap.clip_s - this.t) < 2
    say(this.line, now < 0 ? (this.frames.length ? 'Frames are fetched when the playhead rests.' : '')
      : `The frame that shows runs from ${clock(this.frames[now].at_s, 3)} to ${clock(this.frames[now].until_s, 3)}${near && clap ? `: ${fromClap(this.frames, now, clap.clip_s)}` : ''}.`)
  }

  /** Scrolls the strip, and nothing else, so that a frame stands in its middle.
   * @param {HTMLElement} li */
  #center(li) {
    if (this.list.scrollWidth > this.list.clientWidth) this.list.scrollLeft = li.offsetLeft - this.list.offsetLeft + (li.offsetWidth - this.list.clientWidth) / 2
  }

  close() {
    clearTimeout(this.timer)
    this.stop.abort()
    this.#forget()
  }
}
