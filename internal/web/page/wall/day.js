// The day: every sound as one long shore on the shoot's clock, its clips along
// it beneath.
import { api } from '../common/api.js'
import { extent, lanes, neighbour, sizes } from './daylanes.js'
import { button, colour, fill, h, nextFrame, say } from '../common/dom.js'
import { announce, define, press } from '../common/keys.js'
import { createLooks } from './looks.js'
import { createQueue } from '../common/queue.js'
import { day, items } from '../common/state.js'
import { timeTicks } from '../common/ticks.js'
import { drawMirror, palette } from './tile.js'
import { clock, dayTime, spoken, told } from '../common/words.js'

/** @typedef {import('../types').Recording} Recording */
/** @typedef {{low: Int16Array, high: Int16Array, rms: Uint16Array, most: number, bin: number}} Shore  bin: seconds */

const kept = { start: NaN, perPixel: NaN, focus: '', scroll: 0 }
const most = 1200 // clips that are elements at a time
const ruler = 28 // CSS pixels
const closest = 0.05 // seconds to a pixel

/** @type {import('../types').Open} */
export const openDay = (root, desk) => {
  const d = new Day(root, desk)
  define('In the day', d.keys())
  return { close: () => d.close(), key: (e) => press('In the day', e) }
}

class Day {
  /** @param {HTMLElement} root @param {import('../types').Desk} desk */
  constructor(root, desk) {
    this.desk = desk
    this.dated = true // whether some file says when it was made
    this.view = { start: kept.start, perPixel: kept.perPixel, width: 0 }
    /** @type {Map<string, Shore | null>} */ this.shores = new Map()
    /** @type {Map<string, {el: HTMLAnchorElement, item: import('../types').Item | null, at: string}>} */ this.marks = new Map()
    this.scale = 1 // CSS pixels to the rem / 16
    /** @type {Map<string, HTMLElement>} */ this.labels = new Map()
    this.queue = createQueue(3)
    this.looks = createLooks(() => this.frame(), { pictures: false })
    this.frame = nextFrame(() => this.render())
    this.change = nextFrame(() => this.update())
    this.stop = new AbortController()
    this.ui = this.build(root)
    this.listen()
    this.unsubscribe = desk.store.subscribe((_, p) => (p.takes || p.recordings || p.gone || p.all) && this.change())
    this.paint = this.colours()
    this.update()
    scrollTo(0, kept.scroll)
  }

  colours() {
    return { ...palette(), text: colour('--quiet'), paper: colour('--paper'), thin: colour('--rule'), font: `12px ${getComputedStyle(document.body).fontFamily}` }
  }

  /** @param {HTMLElement} root */
  build(root) {
    const span = h('p', { class: 'span' })
    const canvas = h('canvas', { 'aria-hidden': 'true' })
    const list = h('div', { class: 'marks', role: 'group', 'aria-label': 'Clips along the sounds', onfocusin: (/** @type {FocusEvent} */ e) => {
      kept.focus = /** @type {HTMLElement} */ (e.target).dataset.id ?? kept.focus
    } })
    const shore = h('div', { class: 'along' }, canvas, list)
    const loose = h('section', { class: 'loose', hidden: true })
    const none = h('p', { class: 'none', hidden: true }, 'Nothing is tied to a clock yet.')
    fill(root, h('h1', { class: 'unseen' }, 'The day'),
      h('div', { class: 'over' }, span, h('div', { class: 'zoom' }, button('Closer', () => this.zoom(0.5)), button('Wider', () => this.zoom(2)), button('The whole day', () => this.whole()))),
      none, shore, loose)
    return { span, canvas, list, shore, loose, none }
  }

  listen() {
    const { signal } = this.stop
    addEventListener('scroll', this.frame, { passive: true, signal })
    addEventListener('resize', () => this.update(), { signal })
    const repaint = () => {
      this.paint = this.colours()
      this.frame()
    }
    addEventListener('theme', repaint, { signal })
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', repaint, { signal })
    this.ui.shore.addEventListener('wheel', (e) => this.wheel(e), { passive: false, signal })
    this.ui.shore.addEventListener('pointerdown', (e) => this.drag(e), { signal })
  }

  close() {
    Object.assign(kept, { start: this.view.start, perPixel: this.view.perPixel, scroll: scrollY })
    this.stop.abort()
    this.unsubscribe()
    this.frame.stop()
    this.change.stop()
    this.queue.keep(new Set())
    this.looks.close()
  }

  update() {
    const s = this.desk.store.get()
    const d = day(s)
    this.scale = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16
    this.plan = lanes(d, this.scale)
    this.items = new Map(items(s).map((i) => [i.id, i]))
    this.extent = extent(this.plan.lanes)
    this.dated = s.recordings.some((r) => r.made)
    this.ui.none.hidden = Boolean(this.extent)
    this.ui.shore.hidden = !this.extent
    this.view.width = this.ui.shore.clientWidth
    this.ui.shore.style.height = `${this.plan.height + ruler + 8}px`
    if (!(this.view.perPixel > 0)) this.whole()
    const clips = this.plan.lanes.flatMap((l) => l.clips)
    if (!clips.some((c) => c.clip.id === kept.focus)) kept.focus = clips[0]?.clip.id ?? ''
    this.looseList(d.loose)
    this.bound()
    this.frame()
  }

  /** @param {Recording[]} loose */
  looseList(loose) {
    this.ui.loose.hidden = !loose.length
    fill(this.ui.loose, h('h2', null, 'Without a place in the day'), h('p', { class: 'quiet' }, 'Nothing ties these to the others’ clock.'),
      h('ul', { class: 'files' }, loose.slice(0, 200).map((r) => h('li', null, r.kind === 'clip' ? h('a', { class: 'name', href: `#/take/${encodeURIComponent(r.id)}` }, r.name) : h('span', { class: 'name' }, r.name), h('span', { class: 'quiet' }, clock(r.length_s))))))
  }

  whole() {
    if (!this.extent) return
    const { begin, end } = this.extent
    const width = Math.max(1, this.view.width)
    this.view.perPixel = ((end - begin) * 1.02) / width
    this.view.start = begin - (end - begin) * 0.01
    this.bound()
    this.frame()
  }

  /** Keeps the view on the day. */
  bound() {
    if (!this.extent) return
    const { begin, end } = this.extent
    const v = this.view
    const widest = ((end - begin) * 1.02) / Math.max(1, v.width)
    v.perPixel = Math.max(Math.min(closest, widest), Math.min(widest, v.perPixel))
    const room = (end - begin) * 0.01
    v.start = Math.max(begin - room, Math.min(end + room - v.width * v.perPixel, v.start))
  }

  /** @param {number} by  above 1: wider @param {number} [x] CSS pixels: what stays in its place */
  zoom(by, x = this.view.width / 2) {
    const at = this.view.start + x * this.view.perPixel
    this.view.perPixel *= by
    this.bound()
    this.view.start = at - x * this.view.perPixel
    this.bound()
    this.frame()
  }

  /** @param {number} px */
  pan(px) {
    this.view.start += px * this.view.perPixel
    this.bound()
    this.frame()
  }

  /** @param {WheelEvent} e */
  wheel(e) {
    const unit = e.deltaMode ? 16 : 1
    if (e.ctrlKey || e.metaKey) this.zoom(Math.exp(e.deltaY * unit * 0.003), e.clientX - this.ui.shore.getBoundingClientRect().left)
    else if (e.shiftKey) this.pan((e.deltaX || e.deltaY) * unit)
    else if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) this.pan(e.deltaX * unit)
    else return
    e.preventDefault()
  }

  /** @param {PointerEvent} e */
  drag(e) {
    if (e.button !== 0 || e.pointerType === 'touch' && !e.isPrimary) return
    let x = e.clientX, far = 0
    const end = new AbortController()
    addEventListener('pointermove', (m) => {
      far += Math.abs(m.clientX - x)
      if (far > 4) this.pan(x - m.clientX)
      x = m.clientX
    }, { signal: end.signal })
    // A drag that began on a clip is no click on it; the click comes right after.
    for (const type of ['pointerup', 'pointercancel']) addEventListener(type, () => setTimeout(() => end.abort()), { signal: end.signal })
    this.ui.shore.addEventListener('click', (c) => far > 4 && c.preventDefault(), { capture: true, signal: end.signal })
  }

  /** A moment of the day in figures; where no file says its date, counted from the first recording.
   * @param {number} at @param {boolean} [short] */
  time(at, short) {
    return this.dated ? dayTime(at, short) : clock(at)
  }

  /** @param {number} s */
  x(s) {
    return (s - this.view.start) / this.view.perPixel
  }

  render() {
    if (!this.extent || !this.plan) return
    const v = this.view
    const { begin, end } = this.extent
    const days = Math.floor(begin / 86400) !== Math.floor(end / 86400)
    const time = (/** @type {number} */ at) => (days && this.dated ? `day ${Math.floor(at / 86400) - Math.floor(begin / 86400) + 1}, ` : '') + this.time(at, true)
    say(this.ui.span, `${time(this.dated ? v.start : Math.max(begin, v.start))} to ${time(v.start + v.width * v.perPixel)}${this.dated ? '' : ', counted from the first recording: no file says its time of day'}`)
    const top = Math.max(0, -this.ui.shore.getBoundingClientRect().top)
    const high = Math.min(innerHeight, this.plan.height + ruler + 8)
    const seen = this.plan.lanes.filter((l) => l.top + l.height + ruler > top && l.top + ruler < top + high)
    this.marksOf(seen)
    this.draw(seen, Math.min(top, this.plan.height + ruler + 8 - high), high)
  }

  /** Puts an element on every clip that is seen. @param {import('../types').Lane[]} seen */
  marksOf(seen) {
    const end = this.view.start + this.view.width * this.view.perPixel
    const all = seen.flatMap((l) => l.clips).filter(({ clip }) => clip.id === kept.focus || ((clip.day_s ?? 0) < end && (clip.day_s ?? 0) + clip.length_s > this.view.start))
    const shown = new Map(all.slice(0, most).map((c) => [c.clip.id, c]))
    for (const [id, { el }] of this.marks) {
      if (shown.has(id) || el === document.activeElement) continue
      el.remove()
      this.marks.delete(id)
    }
    for (const [id, c] of shown) this.mark(id, c)
    this.labelsOf(seen)
    this.looks.want([...shown.values()].filter((c) => c.clip.length_s / this.view.perPixel > 6).flatMap((c) => this.items?.get(c.clip.id) ?? []))
  }

  /** @param {string} id @param {{clip: Recording, top: number}} c */
  mark(id, { clip, top }) {
    const item = this.items?.get(id)
    if (!item) return
    let m = this.marks.get(id)
    if (!m) {
      m = { el: h('a', { class: 'mark', href: `#/take/${encodeURIComponent(id)}`, 'data-id': id, draggable: false }, h('span')), item: null, at: '' }
      this.marks.set(id, m)
      this.ui.list.append(m.el)
    }
    if (m.item !== item) {
      const { word } = told(item)
      m.item = item
      m.el.classList.toggle('look', item.take?.status === 'look')
      say(/** @type {Element} */ (m.el.firstElementChild), item.name)
      m.el.setAttribute('aria-label', `${item.name}, ${this.time(clip.day_s ?? 0)}, ${spoken(clip.length_s)}, ${word}`)
      m.el.title = `${item.name} · ${word}`
    }
    const focus = id === kept.focus ? 0 : -1
    if (m.el.tabIndex !== focus) m.el.tabIndex = focus
    const x = this.x(clip.day_s ?? 0).toFixed(1), w = Math.max(2, clip.length_s / this.view.perPixel - 1)
    const at = `${x} ${top} ${w}`
    if (m.at === at) return
    m.at = at
    m.el.style.transform = `translate(${x}px, ${top + ruler}px)`
    m.el.style.width = `${w}px`
    m.el.style.height = `${(sizes.clip - 4) * this.scale}px`
    m.el.classList.toggle('slim', w < 34)
  }

  /** The sounds' names, at their beginning or at the view's. @param {import('../types').Lane[]} seen */
  labelsOf(seen) {
    const keep = new Set()
    for (const lane of seen) {
      if (!lane.sounds.length) this.label('alone', 'No sound heard these', lane.top, 4, keep)
      for (const s of lane.sounds) {
        const left = this.x(s.day_s ?? 0), right = left + s.length_s / this.view.perPixel
        if (right - Math.max(0, left) < 60 || left > this.view.width - 40) continue
        this.label(s.id, `${s.name} · ${this.time(s.day_s ?? 0)} · ${clock(s.length_s)}`, lane.top, Math.max(0, left), keep, right - Math.max(0, left))
      }
    }
    for (const [id, el] of this.labels) {
      if (keep.has(id)) continue
      el.remove()
      this.labels.delete(id)
    }
  }

  /** @param {string} id @param {string} text @param {number} top @param {number} x @param {Set<string>} keep @param {number} [room] */
  label(id, text, top, x, keep, room = this.view.width - x) {
    let el = this.labels.get(id)
    if (!el) {
      this.labels.set(id, (el = h('p', { class: 'sound' })))
      this.ui.list.append(el)
    }
    keep.add(id)
    say(el, text)
    el.style.transform = `translate(${x}px, ${top + ruler}px)`
    el.style.maxWidth = `${room}px`
  }

  /** @param {import('../types').Lane[]} seen @param {number} top CSS pixels that are scrolled away @param {number} high */
  draw(seen, top, high) {
    const scale = Math.min(2, devicePixelRatio || 1)
    const ctx = this.ui.canvas.getContext('2d')
    if (!ctx) return
    const w = Math.round(this.view.width * scale), hh = Math.round(high * scale)
    if (this.ui.canvas.width !== w || this.ui.canvas.height !== hh) Object.assign(this.ui.canvas, { width: w, height: hh })
    this.ui.canvas.style.height = `${high}px`
    ctx.setTransform(scale, 0, 0, scale, 0, 0)
    ctx.clearRect(0, 0, this.view.width, high)
    const keep = new Set()
    this.drawTicks(ctx, high)
    for (const lane of seen) this.drawLane(ctx, lane, ruler - top, keep)
    this.queue.keep(keep)
    this.drawRuler(ctx)
  }

  /** @param {CanvasRenderingContext2D} ctx @param {number} high */
  drawTicks(ctx, high) {
    this.ticks = timeTicks(this.view, 84)
    ctx.fillStyle = this.paint.thin
    for (const at of this.ticks.at) ctx.fillRect(Math.round(this.x(at)), ruler, 1, high)
  }

  /** Drawn last, above what scrolls beneath it. @param {CanvasRenderingContext2D} ctx */
  drawRuler(ctx) {
    const ticks = this.ticks ?? timeTicks(this.view, 84)
    ctx.fillStyle = this.paint.paper
    ctx.fillRect(0, 0, this.view.width, ruler)
    ctx.fillStyle = this.paint.rule
    ctx.fillRect(0, ruler - 1, this.view.width, 1)
    ctx.font = this.paint.font
    ctx.fillStyle = this.paint.text
    for (const at of ticks.at) ctx.fillText(this.time(at, ticks.step >= 60), Math.round(this.x(at)) + 4, ruler - 9)
  }

  /** @param {CanvasRenderingContext2D} ctx @param {import('../types').Lane} lane @param {number} dy @param {Set<string>} keep */
  drawLane(ctx, lane, dy, keep) {
    const scale = this.scale
    for (const s of lane.sounds) this.drawShore(ctx, s, lane.water + dy, sizes.shore * scale, keep)
    for (const { clip, top } of lane.clips) {
      const x = this.x(clip.day_s ?? 0), w = Math.max(2, clip.length_s / this.view.perPixel - 1)
      if (x > this.view.width || x + w < 0) continue
      const item = w > 6 && this.items?.get(clip.id)
      const c = item && this.looks.of(item).columns
      const deep = 44 * scale
      if (c) {
        ctx.save()
        ctx.beginPath()
        ctx.rect(x, top + dy, w, deep)
        ctx.clip()
        drawMirror(ctx, c, { x, y: top + dy - deep, w, h: 2 * deep }, this.paint)
        ctx.restore()
      }
      ctx.fillStyle = this.paint.waterDeep
      ctx.fillRect(x, top + dy, w, 2)
      if (w <= 6) ctx.fillRect(x, top + dy, w, deep * 0.6)
    }
  }

  /** @param {CanvasRenderingContext2D} ctx @param {Recording} s @param {number} water @param {number} shore @param {Set<string>} keep */
  drawShore(ctx, s, water, shore, keep) {
    const begin = s.day_s ?? 0
    const from = Math.max(0, Math.floor(this.x(begin))), to = Math.min(this.view.width, Math.ceil(this.x(begin + s.length_s)))
    if (to <= from) return
    const p = this.wave(s, keep)
    ctx.fillStyle = this.paint.landDeep
    ctx.fillRect(from, water - 1, to - from, 1)
    if (!p) return
    for (const [level, paint] of /** @type {const} */ ([[false, this.paint.land], [true, this.paint.landDeep]])) {
      ctx.beginPath()
      ctx.moveTo(from, water)
      for (let x = from; x <= to; x++) ctx.lineTo(x, water - 1 - shore * heightAt(p, this.view.start + x * this.view.perPixel - begin, this.view.perPixel, level))
      ctx.lineTo(to, water)
      ctx.fillStyle = paint
      ctx.fill()
    }
  }

  /** A sound's bins, as fine as the view asks and a day allows. @param {Recording} s @param {Set<string>} keep @returns {Shore | null} */
  wave(s, keep) {
    const bin = (/** @type {number} */ l) => (64 * 4 ** l) / 16000
    let level = 6
    while (level > 2 && bin(level) > this.view.perPixel && s.length_s / bin(level - 1) < 20000) level--
    const key = `${s.id} ${level}`
    const have = this.shores.get(key)
    if (have) return have
    keep.add(key)
    if (have === undefined && s.state === 'read') this.queue.want(key, (signal) => this.fetch(key, s, level, bin(level), signal))
    for (let l = 2; l <= 6; l++) {
      const other = this.shores.get(`${s.id} ${l}`)
      if (other) return other
    }
    return null
  }

  /** @param {string} key @param {Recording} s @param {number} level @param {number} bin seconds @param {AbortSignal} signal */
  async fetch(key, s, level, bin, signal) {
    try {
      const p = await api.peaks(s.id, { level, from: 0, n: 65536 }, signal)
      let loudest = 1
      for (let k = 0; k < p.low.length; k++) loudest = Math.max(loudest, -p.low[k], p.high[k])
      this.shores.set(key, { ...p, most: loudest, bin })
    } catch (err) {
      if (signal.aborted) return
      this.shores.set(key, null)
    }
    this.frame()
  }

  /** @param {string | undefined} id */
  focus(id) {
    const clip = id && this.items?.get(id)?.recording
    if (!clip) return
    kept.focus = id
    const x = this.x(clip.day_s ?? 0), w = clip.length_s / this.view.perPixel
    if (x < 0 || x + Math.min(w, 60) > this.view.width) this.pan(x + w / 2 - this.view.width / 2)
    this.frame.stop()
    this.render()
    const el = this.marks.get(id)?.el
    el?.focus({ preventScroll: true })
    el?.scrollIntoView({ block: 'nearest' })
  }

  /** @returns {import('../common/keys.js').Row[]} */
  keys() {
    const step = (/** @type {KeyboardEvent} */ e) => {
      if (!this.plan) return false
      const here = this.ui.list.contains(document.activeElement)
      this.focus(here ? neighbour(this.plan.lanes, kept.focus, e.key) : kept.focus)
    }
    return [
      { keys: ['ArrowLeft', 'ArrowRight'], says: 'the clip before, the next', run: step },
      { keys: ['ArrowUp', 'ArrowDown'], says: 'the shore above, below', run: step },
      { keys: ['Home', 'End'], says: 'the first, the last of a shore', run: step },
      { keys: ['Enter'], says: 'look at it closely' },
      { keys: ['+', '='], says: 'closer', run: () => this.zoom(0.5) },
      { keys: ['-'], says: 'wider', run: () => this.zoom(2) },
      { keys: ['0'], says: 'the whole day', run: () => this.whole() },
    ]
  }
}

announce('In the day', Day.prototype.keys())

/** How high a shore stands over a pixel, 0 to 1: the mean of its bins. @param {Shore} p @param {number} s seconds @param {number} per seconds to a pixel @param {boolean} level its level, not its peak */
function heightAt(p, s, per, level) {
  const from = Math.max(0, Math.floor(s / p.bin)), to = Math.min(p.low.length, Math.max(from + 1, Math.floor((s + per) / p.bin)))
  let sum = 0
  for (let k = from; k < to; k++) sum += level ? p.rms[k] : Math.max(-p.low[k], p.high[k])
  return (sum / Math.max(1, to - from) / p.most) ** 0.7
}
