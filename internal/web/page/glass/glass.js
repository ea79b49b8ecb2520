// The glass: rail, mirror, ruler and seam on one time axis, in one canvas. It
// holds the view and draws; what a hand or a key means for the take is told to
// whoever made it.

import { colour, h, still } from '../common/dom.js'
import { LEVELS, around, clamp, endOf, fit, levelFor, pan, reveal, tOf, waveness, xOf, zoomAbout } from './geometry.js'
import { fill, loudest, newColumns, wantRange } from './columns.js'
import { along, fineMost, soundAt, splices } from './lines.js'
import { drawClaps, drawGhost, drawLand, drawMarks, drawSamples, partsOf } from './mirror.js'
import { drawRail, drawRuler } from './rulers.js'
import { LIMITS, drawSeam } from './seam.js'
import { listenToHands } from './hands.js'
import { Tiles } from './tiles.js'

/** @typedef {import('./geometry.js').View} View */
/** @typedef {import('./columns.js').Source} Source */
/** @typedef {import('./columns.js').Columns} Columns */
/** @typedef {import('./lines.js').Span} Span */

/**
 * What lies on the glass.
 * @typedef {object} Scene
 * @property {Source} clip
 * @property {Source | null} sound
 * @property {Span[]} laid
 * @property {Span[]} measured
 * @property {import('./lines.js').Window[]} windows
 * @property {import('./lines.js').Clap[]} claps
 * @property {{from: number, to: number}} covered  the part of the clip under which the sound lies
 * @property {import('../take/marks.js').Marks} marks
 * @property {{fps: number, start: number, timecode: string} | null} frames
 */

/**
 * @typedef {object} Meaning
 * @property {(t: number) => void} seek
 * @property {(ms: number, end: boolean) => void} slide  the sound, later, from where it lay
 * @property {(half: 'clip' | 'sound', t: number) => void} mark  clip seconds
 * @property {(why: string) => void} trouble
 */

const RAIL = 30, RULER = 26, SEAM = 108
const COARSE = 4 // the level of which a whole take is always kept
const AHEAD = 4 // seconds on the glass under which it scrolls with the sound instead of turning pages

export class Glass {
  /** @param {HTMLElement} root @param {Meaning} meaning */
  constructor(root, meaning) {
    this.meaning = meaning
    this.canvas = h('canvas', { 'aria-hidden': 'true' })
    this.rail = h('div', { class: 'rail', title: 'The good sound, on its own clock. Drag: moves it; with Shift a tenth as far' }, h('span', null, 'good sound'))
    this.water = h('div', { class: 'water', tabIndex: 0, role: 'slider', 'aria-label': 'Playhead in the mirror', 'aria-valuemin': '0' })
    this.ruler = h('div', { class: 'ruler', title: 'The clip. Drag: moves the view' }, h('span', null, 'clip'))
    this.seam = h('div', { class: 'seam', title: LIMITS.map((l) => l.says).join('\n') }, h('span', null, 'seam'))
    this.hand = h('div', { class: 'hand' })
    this.hair = h('div', { class: 'hair', hidden: true })
    this.root = h('div', { class: 'glass' }, this.canvas, this.rail, this.water, this.ruler, this.seam, this.hair, this.hand)
    root.append(this.root)
    this.ctx = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext('2d', { alpha: false }))
    /** @type {Scene | null} */
    this.scene = null
    /** @type {View} */
    this.view = { start: 0, perPixel: 1, width: 1 }
    this.playhead = 0
    this.follows = true
    this.loop = /** @type {{from: number, to: number} | null} */ (null)
    this.inFrames = false
    this.fitsView = false
    /** @type {'ear' | 'fine'} */
    this.scaleKind = 'ear'
    this.gains = { body: 0, scratch: 0 }
    this.glide = { left: 0, x: 0 } // octaves still to zoom by
    this.due = 0
    this.height = 0
    this.dpr = 1
    this.tiles = new Tiles({ onTile: () => this.#anew(), onTrouble: (why) => meaning.trouble(why) })
    /** @type {Map<string, {source: Source, of: import('./columns.js').ShelfOf}>} */
    this.shelves = new Map()
    this.top = newColumns(0)
    this.foot = newColumns(0)
    this.ghost = newColumns(0)
    this.whole = newColumns(600)
    this.loud = { body: 1, scratch: 1 }
    this.stale = true // whether what is loudest is to be found anew
    this.endHands = listenToHands(this.root, this.rail, this.#meant())
    this.sizes = new ResizeObserver(() => this.#resize())
    this.sizes.observe(this.root)
    this.looks = () => this.#look()
    window.addEventListener('theme', this.looks)
    this.dark = matchMedia('(prefers-color-scheme: dark)')
    this.dark.addEventListener('change', this.looks)
    this.#look()
  }

  /** @returns {import('./hands.js').Meant} */
  #meant() {
    return {
      zoom: (x, factor, soft) => {
        if (!soft || still()) return this.zoom(factor, x)
        this.glide.left += Math.log2(factor)
        this.glide.x = x
        this.redraw()
      },
      pan: (pixels) => {
        this.follows = false
        this.#setView(pan(this.view, pixels, this.bounds))
      },
      point: (x, y, e) => {
        const t = Math.max(0, Math.min(this.bounds.to, tOf(this.view, x)))
        const water = y - RAIL
        if (e.shiftKey && water > 0 && water < this.waterHeight) this.meaning.mark(water < this.waterHeight / 2 ? 'sound' : 'clip', t)
        else this.meaning.seek(t)
      },
      slide: (pixels, end) => this.meaning.slide(pixels * this.view.perPixel * 1000, end),
      hover: (x) => {
        this.hair.hidden = x === null
        if (x !== null) this.hair.style.transform = `translateX(${Math.round(x)}px)`
      },
    }
  }

  get bounds() {
    const clip = this.scene?.clip
    return { from: 0, to: clip?.length ?? 1, finest: 1 / (clip?.rate ?? 48000) / 40 }
  }

  get waterHeight() {
    return Math.max(80, this.height - RAIL - RULER - SEAM)
  }

  get scale() {
    const s = this.scene
    return { kind: this.scaleKind, most: this.scaleKind === 'ear' || !s ? 250 : fineMost(s.windows, s.laid) }
  }

  /** Lays a scene on the glass. The view stays, but for another clip.
   * @param {Scene} scene */
  show(scene) {
    const other = scene.clip.id !== this.scene?.clip.id
    this.scene = scene
    if (other) {
      this.gains = { body: 0, scratch: 0 }
      this.#resize()
      this.view = fit(0, scene.clip.length, this.view.width)
    }
    this.#anew()
  }

  /** @param {Span[]} laid @param {{from: number, to: number}} covered */
  lay(laid, covered) {
    if (this.scene) Object.assign(this.scene, { laid, covered })
    this.#anew()
  }

  #anew() {
    this.stale = true
    this.redraw()
  }

  /** @param {number} t  clip seconds @param {boolean} [playing] */
  setPlayhead(t, playing = false) {
    this.playhead = t
    const x = xOf(this.view, t)
    if (playing && this.follows) {
      const span = this.view.width * this.view.perPixel
      if (span < AHEAD) this.#setView(clamp({ ...this.view, start: t - span / 2 }, this.bounds))
      else if (x > this.view.width * 0.92 || x < 0) this.#setView(clamp({ ...this.view, start: t - span * 0.08 }, this.bounds))
    }
    this.#placeHand()
  }

  #placeHand() {
    const x = xOf(this.view, this.playhead)
    this.hand.hidden = x < -2 || x > this.view.width + 2
    this.hand.style.transform = `translateX(${(Math.round(x * 4) / 4).toFixed(2)}px)`
  }

  /** Zooms about a place on the glass, else about the playhead if it shows, else the middle.
   * @param {number} factor @param {number} [x] */
  zoom(factor, x) {
    const hand = xOf(this.view, this.playhead)
    const about = x ?? (hand >= 0 && hand <= this.view.width ? hand : this.view.width / 2)
    this.#setView(zoomAbout(this.view, about, factor, this.bounds))
  }

  /** @param {number} seconds  0: the whole take */
  span(seconds) {
    this.#setView(seconds ? around(this.playhead, seconds, this.view.width, this.bounds) : fit(0, this.bounds.to, this.view.width))
  }

  /** @param {number} share  of the glass, to later moments */
  turn(share) {
    this.follows = false
    this.#setView(pan(this.view, share * this.view.width, this.bounds))
  }

  /** Brings a moment on the glass. @param {number} t */
  reveal(t) {
    this.#setView(reveal(this.view, t, 0.1, this.bounds))
  }

  /** @param {View} view */
  #setView(view) {
    this.view = view
    this.redraw()
  }

  #resize() {
    const box = this.root.getBoundingClientRect()
    this.height = box.height
    const dpr = window.devicePixelRatio || 1
    const width = Math.max(1, box.width)
    if (width !== this.view.width) {
      const middle = tOf(this.view, this.view.width / 2), span = this.view.width * this.view.perPixel
      this.view = this.scene && this.view.width > 1 ? around(middle, span, width, this.bounds) : { ...this.view, width }
    }
    this.dpr = dpr
    this.canvas.width = Math.round(width * dpr)
    this.canvas.height = Math.round(box.height * dpr)
    const n = this.canvas.width
    this.top = newColumns(n)
    this.foot = newColumns(n)
    this.ghost = newColumns(n)
    this.draw()
  }

  #look() {
    const own = getComputedStyle(this.root)
    const of = (/** @type {string} */ name) => own.getPropertyValue(name).trim() || colour(name)
    const font = `11px ${own.fontFamily}`
    this.look = {
      sky: of('--sky'), water: of('--deep'), ground: of('--paper'), slide: of('--slide'), shore: of('--line'),
      body: of('--land-deep'), bodyPale: of('--land'), scratch: of('--water-deep'), scratchPale: of('--water'),
      ghost: of('--line'), mark: of('--ink'), gap: of('--paper'),
      ruler: { line: of('--line'), text: of('--quiet'), font },
      seam: { ground: of('--sky'), band: of('--limit'), line: of('--line'), ink: of('--ink'), faint: of('--line'), far: of('--rule'), text: of('--quiet'), font },
    }
    this.redraw()
  }

  redraw() {
    this.due ||= requestAnimationFrame(() => {
      this.due = 0
      this.draw()
    })
  }

  #step() {
    if (Math.abs(this.glide.left) < 0.004) this.glide.left = 0
    if (!this.glide.left) return
    const now = this.glide.left * 0.32
    this.glide.left -= now
    this.zoom(2 ** now, this.glide.x)
    this.redraw()
  }

  /** The loudest of each side over the whole take, from what is at hand. @param {Scene} s */
  #loudest(s) {
    if (!this.stale) return this.loud
    this.stale = false
    const all = { start: 0, perPixel: s.clip.length / this.whole.n, width: this.whole.n }
    fill(this.whole, all, this.#shelf(s.clip), s.clip, null, { from: 0, to: s.clip.length })
    this.loud.scratch = loudest(this.whole)
    if (s.sound) {
      fill(this.whole, all, this.#shelf(s.sound), s.sound, s.laid, s.covered)
      this.loud.body = loudest(this.whole)
    }
    return this.loud
  }

  /** Turns the gains towards what the loudest asks for, gliding there.
   * @param {Scene} s */
  #gain(s) {
    const loud = this.fitsView ? { body: loudest(this.top), scratch: loudest(this.foot) } : this.#loudest(s)
    for (const k of /** @type {const} */ (['body', 'scratch'])) {
      const g = this.gains[k], to = Math.min(0.94 / loud[k], 5000)
      const there = !g || still() || Math.abs(Math.log(to / g)) < 0.004
      this.gains[k] = there ? to : g * (to / g) ** 0.2
      if (!there) this.redraw()
    }
  }

  /** The shelves of a track by level, -1: samples. Asked for each column, so they are found once.
   * @param {Source} s @returns {import('./columns.js').ShelfOf} */
  #shelf(s) {
    const known = this.shelves.get(s.id)
    if (known?.source.track === s.track && known.source.length === s.length) return known.of
    const levels = Array.from({ length: LEVELS }, (_, level) => this.tiles.peaks(s.id, s.track, level, s.length))
    const samples = this.tiles.samples(s.id, s.track, s.rate, s.length)
    const of = (/** @type {number} */ level) => (level < 0 ? samples : levels[level])
    this.shelves.set(s.id, { source: s, of })
    return of
  }

  #want() {
    const s = this.scene
    if (!s) return
    /** @type {import('./tiles.js').Want[]} */
    const wants = []
    /** @type {import('./tiles.js').Want[]} */
    const ahead = []
    const level = levelFor((this.view.perPixel * this.view.width) / Math.max(1, this.canvas.width))
    const all = fit(0, s.clip.length, this.view.width)
    // The coarse whole first, so that there is never nothing, and bins before samples; both are small.
    for (const [view, at] of /** @type {[View, number][]} */ ([[all, COARSE], [this.view, Math.max(0, level)], [this.view, level]])) {
      if (s.clip.track >= 0) wantRange(wants, ahead, this.#shelf(s.clip)(at), view.start, endOf(view), s.clip.length)
      const parts = partsOf(view, s.laid, s.covered)
      if (!s.sound || !parts.length) continue
      const last = parts[parts.length - 1]
      wantRange(wants, ahead, this.#shelf(s.sound)(at), along(parts[0].span, parts[0].from), along(last.span, last.to), s.sound.length)
    }
    this.tiles.want([...wants, ...ahead])
  }

  draw() {
    cancelAnimationFrame(this.due)
    this.due = 0
    const s = this.scene
    if (!s || !this.look || this.canvas.width < 2) return
    this.#step()
    this.#want()
    const { view, ctx } = this
    const whole = { from: 0, to: s.clip.length }
    fill(this.foot, view, this.#shelf(s.clip), s.clip, null, whole)
    if (s.sound) fill(this.top, view, this.#shelf(s.sound), s.sound, s.laid, s.covered)
    else this.top.seen.fill(0)
    this.#gain(s)
    ctx.setTransform(this.dpr, 0, 0, this.dpr, 0, 0)
    this.#ground()
    this.#halves(s)
    const water = { top: RAIL, height: this.waterHeight, width: view.width, dpr: this.dpr }
    const shore = RAIL + this.waterHeight / 2
    ctx.fillStyle = this.look.shore
    ctx.fillRect(0, Math.round(shore), view.width, 1)
    drawClaps(ctx, view, shore + 0.5, s.claps, s.laid, { above: this.look.mark, below: this.look.mark })
    drawMarks(ctx, view, water, s.marks, s.laid, this.look.mark)
    const parts = partsOf(view, s.laid, s.covered)
    drawRail(ctx, view, { ...water, top: 0, height: RAIL }, parts, this.look.ruler)
    const foot = RAIL + this.waterHeight
    drawRuler(ctx, view, { ...water, top: foot, height: RULER }, this.inFrames ? s.frames : null, this.look.ruler)
    if (this.loop) {
      ctx.fillStyle = this.look.mark
      ctx.fillRect(xOf(view, this.loop.from), foot + RULER - 3, (this.loop.to - this.loop.from) / view.perPixel, 3)
    }
    drawSeam(ctx, view, { ...water, top: foot + RULER, height: SEAM }, this.scale, s.windows, s.laid, this.look.seam)
    this.#cuts(s)
    this.#placeHand()
  }

  /** Sky above the shore, water below it, the rulers' edges. */
  #ground() {
    const { ctx, view, look } = this
    if (!look) return
    const half = this.waterHeight / 2
    ctx.fillStyle = look.ground
    ctx.fillRect(0, 0, view.width, this.height)
    ctx.fillStyle = look.slide
    ctx.fillRect(0, 0, view.width, RAIL)
    ctx.fillStyle = look.sky
    ctx.fillRect(0, RAIL, view.width, half)
    ctx.fillStyle = look.water
    ctx.fillRect(0, RAIL + half, view.width, half)
  }

  /** @param {Scene} s */
  #halves(s) {
    const { ctx, view, look } = this
    if (!look) return
    const u = waveness(view.perPixel)
    const half = this.waterHeight / 2
    const base = { shore: RAIL + half, height: half - 6, u }
    const above = /** @type {import('./mirror.js').Half} */ ({ ...base, up: 1, gain: this.gains.body, pale: look.bodyPale, strong: look.body })
    const below = /** @type {import('./mirror.js').Half} */ ({ ...base, up: -1, gain: this.gains.scratch, pale: look.scratchPale, strong: look.scratch })
    const shift = s.measured.length ? (soundAt(s.laid, view.start) - soundAt(s.measured, view.start)) / view.perPixel : 0 // CSS pixels
    if (s.sound && Math.abs(shift) > 0.5) this.#half(s.sound, s.measured, s.covered, this.ghost, { ...above, pale: look.ghost }, true)
    if (s.sound) this.#half(s.sound, s.laid, s.covered, this.top, above, false)
    this.#half(s.clip, null, { from: 0, to: s.clip.length }, this.foot, below, false)
    ctx.globalAlpha = 1
  }

  /** @param {Source} source @param {Span[] | null} spans @param {{from: number, to: number}} part
   * @param {Columns} columns @param {import('./mirror.js').Half} half @param {boolean} ghost */
  #half(source, spans, part, columns, half, ghost) {
    const { ctx, view } = this
    if (source.rate * view.perPixel < 0.5) {
      const shelf = this.tiles.samples(source.id, source.track, source.rate, source.length)
      const exact = columns.exact && levelFor(view.perPixel) < 0 && !ghost
      if (exact || (ghost && shelf.tiles.size)) return drawSamples(ctx, view, half, shelf, source.rate, partsOf(view, spans, part), { faint: ghost })
    }
    if (!ghost) return drawLand(ctx, columns, half, view.width)
    fill(columns, view, this.#shelf(source), source, spans, part)
    drawGhost(ctx, columns, half, view.width)
  }

  /** Where spans join and where no sound lies: through all of the glass.
   * @param {Scene} s */
  #cuts(s) {
    const { ctx, view, look } = this
    if (!look || !s.sound) return
    const foot = this.height
    ctx.fillStyle = look.gap
    const from = xOf(view, s.covered.from), to = xOf(view, s.covered.to)
    if (from > 1) ctx.fillRect(0, RAIL, Math.min(from, view.width), this.waterHeight / 2)
    if (to < view.width - 1) ctx.fillRect(Math.max(0, to), RAIL, view.width - Math.max(0, to), this.waterHeight / 2)
    ctx.strokeStyle = look.mark
    ctx.setLineDash([3, 3])
    ctx.beginPath()
    for (const { at_s } of splices(s.laid)) {
      const x = Math.round(xOf(view, at_s)) + 0.5
      if (x < 0 || x > view.width) continue
      ctx.moveTo(x, 0)
      ctx.lineTo(x, foot)
    }
    ctx.stroke()
    ctx.setLineDash([])
  }

  close() {
    cancelAnimationFrame(this.due)
    this.endHands()
    this.sizes.disconnect()
    window.removeEventListener('theme', this.looks)
    this.dark.removeEventListener('change', this.looks)
    this.tiles.close()
  }
}
