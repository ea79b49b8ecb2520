// One take, looked at closely: the glass, what is heard, the frames, the verdict
// in words, and all that a person may say of it. The parts show and ask; what is
// asked is done here.

import { fill, h, say } from '../common/dom.js'
import { define, press } from '../common/keys.js'
import { recording, refusal, take as takeOf } from '../common/state.js'
import { Glass } from '../glass/glass.js'
import { Hearing } from './hearing.js'
import { layout } from './layout.js'
import { createListener } from '../listen/listen.js'
import { covered, laidBy, laterBy, laterThan, leftover, soundAt, worst } from '../glass/lines.js'
import { clapLaid, lineUp, nextClap, noMarks } from './marks.js'
import { Moving, keyed } from './moving.js'
import { movedWords, nudge } from './moves.js'
import { Others } from './others.js'
import { createPicture } from './picture.js'
import { clipSays, gapSays, known, placeSays, positionSays, seamSays, sentence, settles, verdictSays } from './saying.js'
import { Strip } from './strip.js'
import { keysOf, PLACE, unbound } from './takekeys.js'
import { fpsOf } from '../common/ticks.js'
import { clock, late, ms } from '../common/words.js'

/** @typedef {import('../glass/lines.js').Line} Line */
/** @typedef {import('../glass/lines.js').Span} Span */
/** @typedef {import('../types').Recording} Recording */
/** @typedef {{id: string} & import('../main.js').Desk} Ways */

const SETTLE = 400 // ms without a further nudge after which a run of them is one step of the history

export class TakeScreen {
  /** @param {HTMLElement} root @param {Ways} ways */
  constructor(root, ways) {
    this.ways = ways
    this.id = ways.id
    /** @type {import('../types').Detail | null} */
    this.detail = null
    /** @type {Line | null} a line that the program has not been told or has not answered yet */
    this.pending = null
    this.start = /** @type {Line | null} */ (null) // where the sound lay when a hand took hold of it
    this.marks = noMarks()
    this.playhead = this.timer = 0
    this.sending = 0 // changes that the program has not answered yet
    this.seen = ''
    this.stop = new AbortController()
    this.root = root
    this.glass = new Glass(root, this.#meaning())
    this.listener = createListener({ api: ways.api, onTime: (t) => this.#time(t, true), onState: (s) => this.#heard(s) })
    this.hearing = new Hearing({ listener: this.listener, loop: () => this.loop() })
    this.strip = new Strip({ api: ways.api, seek: (t) => this.seek(t) })
    this.screen = h('section', { class: 'screen', 'aria-label': 'Picture' })
    this.picture = createPicture(this.screen, { api: ways.api })
    this.picture.follow(this.listener)
    this.moving = new Moving(this.#moves())
    this.others = new Others(this.#otherDeeds())
    this.el = layout(this)
    this.end = ways.store.subscribe(() => this.#changed())
    define(PLACE, keysOf(this))
    this.#changed()
  }

  /** @returns {Recording | undefined} */
  get clip() {
    return recording(this.ways.store.get(), this.id)
  }

  get take() {
    return takeOf(this.ways.store.get(), this.id)
  }

  /** Sounds of which a person said that they do not belong to it: ids. */
  get refused() {
    return this.clip?.refused ?? []
  }

  get sound() {
    const t = this.take
    return t && recording(this.ways.store.get(), t.sound)
  }

  /** The lines along which the sound is laid, with what a person is just moving. @returns {Span[]} */
  get laid() {
    const told = this.detail?.laid ?? []
    return this.pending ? laidBy(told, this.pending) : told
  }

  get measured() {
    return this.detail?.measured ?? []
  }

  /** By how much the sound lies later than measured, ms. */
  get moved() {
    return this.measured.length && this.laid.length ? laterThan(this.laid, this.measured, this.measured[0].from_s) : 0
  }

  /** @returns {import('../glass/glass.js').Meaning} */
  #meaning() {
    return {
      seek: (t) => this.seek(t),
      slide: (by, end) => this.slide(by, end),
      mark: (half, t) => this.mark(half, t),
      trouble: (why) => this.ways.tell(why),
    }
  }

  /** @returns {import('./moving.js').MovingDeeds} */
  #moves() {
    return {
      nudge: (step, n) => this.nudge(step, n),
      place: (line) => {
        this.move(line, 0)
        this.glass.water.focus()
      },
      restore: () => this.restore(),
      mark: (half) => this.mark(half, this.playhead),
      lineUp: () => this.lineUp(),
      unmark: () => this.#setMarks(noMarks()),
      measure: () => this.measure(),
      now: () => (this.laid.length ? { line: this.laid[0], of: this.#rates() } : null),
      choose: (step) => this.moving.choose(step),
    }
  }

  /** @returns {import('./others.js').OtherDeeds} */
  #otherDeeds() {
    return {
      pick: (c) => this.choose(c.sound, c.line),
      pair: (sound, line) => this.choose(sound.id, line),
      refuse: () => this.refuse(),
      allow: (id) => void this.say({ refused: this.refused.filter((r) => r !== id) }),
      nameOf: (id) => recording(this.ways.store.get(), id)?.name ?? 'a sound that is no longer here',
    }
  }

  #rates() {
    const p = this.clip?.picture
    return { rate: this.sound?.tracks?.[this.detail?.sound_track ?? 0]?.rate ?? 0, fps: p ? fpsOf(p.rate, p.fps) : 0 }
  }

  /** The state changed, here or on another page. */
  #changed() {
    const { clip, take } = this
    this.glass.root.hidden = !clip?.length_s
    if (!clip) return say(this.el.verdict, 'There is no such clip any more.')
    const now = JSON.stringify([take, clip.length_s, clip.state, clip.refused])
    if (now === this.seen) return
    this.seen = now
    this.#head()
    if (!take || this.detail?.take.sound !== take.sound) {
      this.detail = take ? known(take) : null
      this.pending = null
      this.#show()
    }
    if (take) this.#bring()
  }

  async #bring() {
    this.stop.abort()
    this.stop = new AbortController()
    const { signal } = this.stop
    try {
      const detail = await this.ways.api.detail(this.id, undefined, signal)
      if (signal.aborted || !this.take) return
      this.detail = detail
      if (!this.start && !this.timer && !this.sending) this.pending = null // the program knows all
      this.#show()
    } catch (err) {
      if (!signal.aborted) this.ways.fail(err)
    }
  }

  #head() {
    const { clip, take, sound } = this
    if (!clip) return
    if (document.activeElement !== this.el.name) this.el.name.value = take?.word.name || clip.name
    if (document.activeElement !== this.el.note) this.el.note.value = take?.word.note ?? ''
    say(this.el.files, sound ? `${clip.name}, ${clock(clip.length_s, 1)}, with ${sound.name}` : `${clip.name}, ${clock(clip.length_s, 1)}, alone`)
    say(this.el.verdict, take ? [verdictSays(take), take.verdict === 'unsure' ? sentence(take.why?.[0] ?? '') : ''].join(' ').trim() : clipSays(clip))
    this.el.verdict.dataset.verdict = take?.verdict ?? 'alone'
    const next = this.#nextToLook()
    this.el.approve.disabled = !take
    this.el.approve.classList.toggle('second', take?.status === 'done')
    fill(this.el.approve, take?.word.approved ? 'Approved' : next ? 'Approve, and the next' : 'Approve', h('kbd', { 'aria-hidden': 'true' }, 'A'))
  }

  /** Lays everything out anew, from the detail and what is pending. */
  #show() {
    const { clip, detail, sound, laid } = this
    if (!clip) return
    if (!clip.length_s) return this.#tell() // it is still being read
    const source = (/** @type {Recording} */ r, /** @type {number} */ track) => ({ id: r.id, track: r.tracks?.length ? track : -1, rate: r.tracks?.[track]?.rate || 48000, length: r.length_s })
    const p = clip.picture
    this.glass.show({
      clip: source(clip, detail?.clip_track ?? 0), sound: sound?.length_s && detail ? source(sound, detail.sound_track) : null,
      laid, measured: this.measured, windows: detail?.windows ?? [], claps: detail?.claps ?? [],
      covered: this.#covered(), marks: this.marks,
      frames: p && p.fps ? { fps: fpsOf(p.rate, p.fps), start: p.start_s, timecode: p.timecode ?? '' } : null,
    })
    this.#hear()
    this.strip.load(clip, detail?.claps ?? [])
    this.screen.hidden = !p
    if (p && this.picture.recording?.id !== clip.id) this.picture.load(clip)
    this.#tell()
    this.#time(this.playhead, false)
  }

  /** Says what is heard: the clip with its sound, or alone. */
  #hear() {
    const { clip, listener, sound, laid } = this
    if (!clip || (sound && !laid.length)) return // it will be known
    const own = (clip.tracks ?? []).length > 0
    this.hearing.offer(sound ? 'both' : own ? 'camera' : 'nothing')
    if (!own && !sound) return
    const what = { length: clip.length_s, ...(sound ? { sound: sound.id, line: laid[0] } : { alone: true }) }
    if (listener.take !== this.id) listener.load(this.id, what)
    else listener.setLine(what)
  }

  /** @param {import('../listen/listen.js').Listening} state */
  #heard(state) {
    this.hearing.show(state)
    if (JSON.stringify(state.loop) === JSON.stringify(this.glass.loop)) return
    this.glass.loop = state.loop
    this.glass.redraw()
  }

  /** The part of the clip that has good sound, as it is laid now. */
  #covered() {
    return covered(this.laid, this.clip?.length_s ?? 0, this.take && this.sound ? this.sound.length_s : 0)
  }

  /** All words, which depend on the line. */
  #tell() {
    const { detail, laid, moved, take, clip } = this
    if (!clip) return
    const windows = detail?.windows ?? []
    const through = (detail?.through ?? []).map((id) => recording(this.ways.store.get(), id)?.name ?? id)
    const lines = take ? [
      ...(take.why ?? []).map(sentence),
      ...(detail?.windows ? placeSays({ ...detail, take: { ...take, moved_ms: moved } }, laid, this.sound?.name ?? 'the sound') : []),
      detail?.windows ? seamSays(windows, laid) : '', gapSays(take, clip.length_s),
      through.length ? `It was placed over other recordings: ${through.join(', ')}.` : '',
    ] : ['No recording heard the same moment clearly. If you know which sound belongs to it, pair them by hand below.']
    fill(this.el.words, take && h('p', { class: 'next' }, settles(take)), lines.filter(Boolean).map((l) => h('p', null, l)))
    this.moving.show({ line: laid[0], moved, measured: this.measured.length > 0, marks: this.marks, laid })
    this.others.show({ clip, recordings: this.ways.store.get().recordings, sound: take?.sound ?? '', line: laid[0], candidates: detail?.candidates ?? [], refused: this.refused })
    const claps = detail?.claps ?? []
    const most = 60
    fill(this.el.claps, claps.slice(0, most).map((c) => h('li', null, keyed(`Clap at ${clock(c.clip_s, 3)}, ${late(clapLaid(c, laid).late_ms)}`, '', () => this.seek(c.clip_s, true)))),
      claps.length > most ? h('li', { class: 'quiet' }, `and ${claps.length - most} more`) : null, claps.length ? null : h('li', { class: 'quiet' }, 'No sharp sound was found in both.'))
    this.#ghost()
  }

  #ghost() {
    this.el.ghost.hidden = Math.abs(this.moved) < 5e-4
    say(this.el.ghost, movedWords(this.moved))
  }

  /** @param {number} t @param {boolean} playing */
  #time(t, playing) {
    this.playhead = t
    this.glass.setPlayhead(t, playing && this.listener.playing)
    this.hearing.at(t)
    this.strip.at(t)
    if (this.listener.playing) return // whoever listens need not be told each moment
    const text = positionSays(t, this.laid, this.detail?.windows ?? [])
    say(this.el.position, text)
    const { water } = this.glass
    water.setAttribute('aria-valuemax', String(Math.round(this.clip?.length_s ?? 0)))
    water.setAttribute('aria-valuenow', t.toFixed(3))
    water.setAttribute('aria-valuetext', text)
  }

  /** @param {number} t  clip seconds @param {boolean} [show]  brings it on the glass */
  seek(t, show = false) {
    const at = Math.max(0, Math.min(this.clip?.length_s ?? 0, t))
    this.glass.follows = true
    this.listener.seek(at)
    this.#time(at, false)
    if (show) this.glass.reveal(at)
  }

  /** Lays the sound along a line: at once on the page, and in the program when it has rested so long.
   * @param {Line} line @param {number} rest  ms */
  move(line, rest) {
    if (!this.take || !this.detail) return
    this.pending = line
    this.glass.lay(this.laid, this.#covered())
    this.#ghost()
    clearTimeout(this.timer)
    if (rest === Infinity) return // a hand still holds it
    this.#tell()
    this.listener.setLine({ sound: this.take.sound, line })
    if (rest) this.timer = window.setTimeout(() => this.#settle(), rest)
    else this.#settle()
  }

  async #settle() {
    clearTimeout(this.timer)
    this.timer = 0
    const line = this.pending
    if (!line || (await this.say({ line })) || this.pending !== line) return
    this.pending = null
    this.#show()
  }

  /** Says something of the clip. @param {import('../types').Change} change @returns {Promise<boolean>} whether it was taken */
  async say(change) {
    this.sending++
    let now // its take from now on, if it has one
    try {
      now = await this.ways.api.word(this.id, change)
    } catch (err) {
      this.ways.fail(err)
      return false
    } finally {
      this.sending--
    }
    if (now) await this.#bring()
    return true
  }

  /** @param {string} name  of the finished clip; the file's own takes it away */
  rename(name) {
    return this.say({ name: name === this.clip?.name ? '' : name })
  }

  /** The rail is pulled. @param {number} by  ms later @param {boolean} end */
  slide(by, end) {
    if (!this.laid.length) return
    this.start ??= this.laid[0]
    this.move(laterBy(this.start, by), end ? 0 : Infinity)
    if (end) this.start = null
  }

  /** @param {import('./moves.js').Step} step @param {number} n  above 0: later */
  nudge(step, n) {
    if (this.laid.length) this.move(nudge(this.laid[0], step, n, this.#rates()), SETTLE)
  }

  async restore() {
    if (!this.measured.length || Math.abs(this.moved) < 5e-4) return
    const { offset_s, drift_ppm } = this.measured[0]
    this.move({ offset_s, drift_ppm }, Infinity)
    this.timer = 0
    if (await this.say({ line: null })) return
    this.pending = null
    this.#show()
  }

  /** @param {'clip' | 'sound'} half @param {number} t  clip seconds */
  mark(half, t) {
    this.#setMarks({ ...this.marks, [half]: half === 'clip' ? t : soundAt(this.laid, t) })
  }

  /** @param {import('./marks.js').Marks} marks */
  #setMarks(marks) {
    this.marks = marks
    if (this.glass.scene) this.glass.scene.marks = marks
    this.glass.redraw()
    this.#tell()
  }

  lineUp() {
    const line = lineUp(this.marks, this.laid)
    if (!line) return this.ways.tell('Set a mark in each half first')
    this.#setMarks(noMarks())
    this.move(line, 0)
  }

  async measure() {
    const t = this.take, s = soundAt(this.laid, this.playhead)
    if (!t || Number.isNaN(s)) return
    this.moving.showFound({ text: 'Measuring near here…' })
    try {
      const { found, why } = await this.ways.api.measure(this.id, { sound: t.sound, at_s: this.playhead, sound_s: s })
      const line = found?.measured?.[0] ?? found?.laid?.[0]
      if (!found || !line) return this.moving.showFound({ text: `Nothing was found: ${why || 'nothing both heard near here'}.` })
      const later = laterThan([{ ...line, from_s: 0, to_s: 0 }], this.laid, this.playhead)
      const where = Math.abs(later) < 5e-3 ? 'where it lies now' : `${ms(later)} ${later > 0 ? 'later' : 'earlier'} than it lies now`
      this.moving.showFound({
        text: `Found ${where}, give or take ${ms(found.sigma_ms)}. ${verdictSays(found.take)} ${seamSays(found.windows ?? [], found.measured ?? [])}`,
        take: () => {
          this.moving.showFound(null)
          this.glass.water.focus()
          this.move({ offset_s: line.offset_s, drift_ppm: line.drift_ppm }, 0)
        },
        leave: () => {
          this.moving.showFound(null)
          this.glass.water.focus()
        },
      })
    } catch (err) {
      this.moving.showFound(null)
      this.ways.fail(err)
    }
  }

  /** Lays a sound under the clip, also one that was refused before.
   * @param {string} sound  id @param {Line} line */
  choose(sound, line) {
    this.pending = null
    return this.say({ sound, line, ...(this.refused.includes(sound) ? { refused: this.refused.filter((r) => r !== sound) } : {}) })
  }

  async refuse() {
    const t = this.take
    if (!t) return
    const name = this.sound?.name ?? 'the sound'
    if (await this.say(refusal(t))) this.ways.tell(`${name} is no longer laid under it`, 'Undo brings it back.')
  }

  /** The next take that needs a look, round and round; another one than this. */
  #nextToLook() {
    const { takes } = this.ways.store.get()
    const here = takes.findIndex((t) => t.id === this.id)
    return [...takes.slice(here + 1), ...takes.slice(0, Math.max(0, here))].find((t) => t.status === 'look')
  }

  next() {
    const t = this.#nextToLook()
    if (t) this.ways.go(`#/take/${encodeURIComponent(t.id)}`)
    else this.ways.tell('No other take needs a look')
  }

  async approveAndGo() {
    const t = this.take
    if (!t) return
    if (t.word.approved) return void (await this.say({ approved: false }))
    if (this.timer) await this.#settle()
    if (!(await this.say({ approved: true }))) return
    if (this.#nextToLook()) this.next()
    else this.ways.tell('Approved. No other take needs a look')
  }

  /** @param {1 | -1} step */
  clap(step) {
    const c = nextClap(this.detail?.claps ?? [], this.playhead, step)
    if (!c) return this.ways.tell('No sharp sound was found in both')
    this.seek(c.clip_s, true)
  }

  worst() {
    const w = worst(this.detail?.windows ?? [], this.laid)
    if (!w) return this.ways.tell('No seam was measured')
    this.seek(w.at_s, true)
    this.ways.tell(`The seam is furthest off here: ${late(leftover(w, this.laid))}`)
  }

  loop() {
    if (this.listener.state.loop) return this.listener.loop(null)
    const { view } = this.glass
    const from = Math.max(0, view.start), to = Math.min(this.clip?.length_s ?? 0, view.start + view.width * view.perPixel)
    this.listener.loop(from, to)
  }

  heights() {
    this.glass.fitsView = !this.glass.fitsView
    this.glass.redraw()
    this.ways.tell(this.glass.fitsView ? 'Heights fill what is on the glass' : 'Heights fill the whole take')
  }

  seamScale() {
    this.glass.scaleKind = this.glass.scaleKind === 'ear' ? 'fine' : 'ear'
    this.glass.redraw()
    this.ways.tell(this.glass.scaleKind === 'ear' ? 'Seam as an ear hears it' : 'Seam as fine as it was measured')
  }

  frames() {
    this.glass.inFrames = !this.glass.inFrames
    this.glass.redraw()
    if (!this.glass.scene?.frames) this.ways.tell('Its frame rate is not known')
  }

  /** @param {number} n  frames of the picture, or hundredths of a second without one */
  step(n) {
    const fps = this.#rates().fps
    this.seek(this.playhead + n / (fps || 100), true)
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const on = e.target
    if (e.key === ' ' && on instanceof HTMLButtonElement) return false // it is pressed
    if (on instanceof HTMLInputElement && on.type === 'radio' && e.key.startsWith('Arrow')) return false
    if (on instanceof HTMLInputElement && on.type === 'range') return false
    return press(PLACE, e)
  }

  close() {
    if (this.timer) this.#settle()
    this.end()
    this.stop.abort()
    this.listener.close()
    this.picture.close()
    this.strip.close()
    this.glass.close()
    unbound()
  }
}

/** Opens a take. @param {HTMLElement} root @param {Ways} ways */
export function openTake(root, ways) {
  const screen = new TakeScreen(root, ways)
  return { close: () => screen.close(), key: (/** @type {KeyboardEvent} */ e) => screen.key(e) }
}
