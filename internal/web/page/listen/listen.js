/**
 * Listening to a take: fetches both microphones, plays them in an audio worklet, and says where in
 * the clip the sound is that is heard this moment.
 *
 *   const listener = createListener({ api, onTime, onState })
 *   listener.load(take.id, { length: clip.length_s, sound: take.sound, line: take.line })
 *   listener.play()
 *
 * Times are seconds of the clip. Whatever changes, changes without a click (player.js, gains.js).
 */

import { Clock } from './buffer.js'
import { Feed } from './feed.js'
import { heardFrame } from './heard.js'
import { joined } from './pieces.js'
import { GLIDE, QUIET, RATE, decibels, hearingOf, matched, matrix } from './gains.js'
import { LONGEST_JOIN } from './player.js'

/** Why the page begins with little volume. */
export const WHY_QUIET =
  'Starts quiet: a body mic close to a shout is much louder than a camera heard it, and headphones are close to the ear.'

/** How long nothing may be played before the sound device is let go, in ms. */
const IDLE = 10_000

/** Sound is fetched so long after a take is opened, ms, or when it is played: the first sound device and decoders would hold up the first wave. */
const SOON = 600

/** Waiting for sound is told only when it lasts, in ms. */
const PATIENCE = 150

/** By then all has faded out, in ms. */
const FADED = 200

/** Another line is gone over to once so much of it is here, in frames: 0.3 s. */
const READY = 0.3 * RATE

/** The playhead is known so exactly, in frames; that near to a loop's end it counts as past it. */
const NEAR = 0.05 * RATE

/** The shortest loop, in seconds. */
const SHORTEST_LOOP = 0.1

/** @typedef {import('./gains.js').Hearing | 'flip'} Mode */
/** @typedef {{offset_s: number, drift_ppm: number}} Line */
/** @typedef {{sound?: string, line?: Line | null, alone?: boolean}} Laid  left out: as the program lays it; alone: there is only the scratch */
/** @typedef {{length: number} & Laid} Take  length in seconds */
/**
 * @typedef {object} Listening
 * @property {string} take        id, '' before one is loaded
 * @property {boolean} playing    it plays, or will as soon as it can
 * @property {boolean} waiting    for sound that has not come yet
 * @property {boolean} blocked    the browser wants a key or a click before it makes a sound
 * @property {boolean} ended
 * @property {boolean} laying     another line is being fetched; the one before is still heard
 * @property {Mode} mode
 * @property {import('./gains.js').Hearing} hearing  what a flip is at; otherwise the mode
 * @property {{from: number, to: number} | null} loop  seconds
 * @property {number} volume      a gain, 0 to 1
 * @property {string} quiet       why it is quiet, while it is because nobody chose a volume yet
 * @property {{body_db: number, scratch_db: number, known: boolean, whole: boolean}} match  by how much each is turned; the louder one down
 * @property {{error: string, hint: string} | null} trouble
 */
/** @typedef {Pick<import('../common/api.js').API, 'listen' | 'loudness'>} Asked */
/**
 * @typedef {object} Watcher
 * @property {(t: number) => void} [onTime]  while playing once a frame of the screen, and at every seek and pause
 * @property {(state: Listening) => void} [onState]
 */
/**
 * @typedef {object} Ways
 * @property {Asked} api
 * @property {Watcher['onTime']} [onTime]
 * @property {Watcher['onState']} [onState]
 * @property {BaseAudioContext} [context]           to play into, at 48000 Hz, instead of the sound device
 */

/** One volume for the page's life, which begins low. */
const page = { volume: QUIET, chosen: false }

/** @param {Laid} a @param {Laid} b */
const same = (a, b) => a.alone === b.alone && a.sound === b.sound && a.line?.offset_s === b.line?.offset_s && a.line?.drift_ppm === b.line?.drift_ppm

/** @param {Ways} ways */
export const createListener = (ways) => new Listener(ways)

export class Listener {
  /** @param {Ways} ways */
  constructor(ways) {
    this.ways = ways
    /** @type {Set<Watcher>} */
    this.watchers = new Set([ways])
    /** @type {BaseAudioContext | null} */
    this.context = null
    /** @type {AudioWorkletNode | null} */
    this.node = null
    /** @type {[import('./player.js').Message, Transferable[]][]} what is said before the worklet is there */
    this.unsaid = []
    this.take = ''
    this.end = 0
    /** @type {Laid} */
    this.laid = {}
    /** @type {Laid} the line last asked for */
    this.asked = {}
    this.lays = 0
    /** @type {Feed | null} */
    this.feed = null
    /** @type {{feed: Feed, lay: number, laid: Laid} | null} a line that is being fetched */
    this.coming = null
    this.clock = new Clock(0)
    this.serial = 0
    this.echo = 0 // the last that came back of those asked for
    /** @type {Mode} */
    this.mode = 'both'
    /** @type {import('./gains.js').Hearing} */
    this.hearing = 'both'
    this.match = matched(null, null)
    this.known = { known: false, whole: false }
    /** @type {import('./buffer.js').Loop | null} frames */
    this.looped = null
    this.playing = false
    this.moving = false
    this.dry = 0 // since when sound is waited for, ms; 0: it is not
    this.ended = false
    this.blocked = false
    /** @type {Listening['trouble']} */
    this.trouble = null
    this.shown = ''
    this.following = 0 // request of the next animation frame
    this.idle = 0 // timer
    this.soon = 0 // timer of what plays
    this.listening = 0 // timer of loudness
    this.closed = new AbortController()
  }

  get volume() {
    return page.volume
  }

  /** @returns {Listening} */
  get state() {
    const { take, playing, ended, blocked, mode, hearing, looped, trouble, match, known } = this
    return {
      take, playing, ended, blocked, mode, hearing, trouble,
      waiting: playing && this.dry > 0 && performance.now() - this.dry >= PATIENCE,
      laying: this.coming !== null,
      loop: looped && { from: looped.from / RATE, to: looped.to / RATE },
      volume: page.volume,
      quiet: page.chosen ? '' : WHY_QUIET,
      match: { body_db: decibels(match.body), scratch_db: decibels(match.scratch), ...known },
    }
  }

  changed() {
    const state = this.state
    const shown = JSON.stringify(state)
    if (shown === this.shown) return
    this.shown = shown
    for (const watcher of this.watchers) watcher.onState?.(state)
  }

  tellTime() {
    const t = this.time()
    for (const watcher of this.watchers) watcher.onTime?.(t)
  }

  /** @param {Watcher} watcher @returns {() => void} ends it */
  watch(watcher) {
    this.watchers.add(watcher)
    return () => void this.watchers.delete(watcher)
  }

  /**
   * Goes to the beginning of a take, and is still there.
   * @param {string} id @param {Take} take
   */
  load(id, take) {
    this.take = id
    this.end = Math.max(0, Math.round(take.length * RATE))
    this.laid = this.asked = { sound: take.sound, line: take.line, alone: take.alone }
    this.playing = this.ended = false
    this.trouble = null
    this.looped = null
    this.match = matched(null, null)
    this.known = { known: false, whole: false }
    this.say({ do: 'pause' })
    this.say({ do: 'loop', loop: null })
    this.feed?.close()
    this.coming?.feed.close()
    this.coming = null
    const { feed, lay } = this.open(this.laid)
    this.feed = feed
    this.serial++
    this.clock.set(0, this.serial)
    this.say({ do: 'use', lay, frame: 0, serial: this.serial })
    this.weigh()
    clearTimeout(this.soon)
    this.soon = window.setTimeout(() => this.begin(), this.ways.context ? 0 : SOON)
    this.rest()
    this.tellTime()
    this.changed()
  }

  /** Fetches and makes what plays, if that is still to be done. */
  begin() {
    if (!this.soon) return
    clearTimeout(this.soon)
    this.soon = 0
    void this.ready()
    this.tend()
    void this.weighLoudness(this.take, this.asked.sound, 0)
  }

  /** Makes what plays, once. */
  async ready() {
    if (this.context) return
    try {
      const context = this.ways.context ?? new AudioContext({ sampleRate: RATE })
      this.context = context
      context.addEventListener('statechange', () => this.onContext())
      await context.audioWorklet.addModule(new URL('./worklet.js', import.meta.url))
      if (this.closed.signal.aborted) return
      const node = new AudioWorkletNode(context, 'listening', { numberOfInputs: 0, outputChannelCount: [2] })
      node.port.onmessage = (event) => this.onReport(event.data)
      node.connect(context.destination)
      this.node = node
      for (const [message, with_] of this.unsaid) node.port.postMessage(message, with_)
      this.unsaid = []
    } catch (why) {
      this.onTrouble(why, 'see whether another browser plays sound on this machine')
    }
  }

  /** @param {import('./player.js').Message} message @param {Transferable[]} [with_] */
  say(message, with_ = []) {
    if (this.node) this.node.port.postMessage(message, with_)
    else this.unsaid.push([message, with_])
  }

  /** Begins to fetch along a line. @param {Laid} laid */
  open(laid) {
    const lay = ++this.lays
    const id = this.take
    this.say({ do: 'open', lay, end: this.end })
    const which = { sound: laid.sound || undefined, offset: laid.line?.offset_s, drift: laid.line?.drift_ppm }
    const feed = new Feed(this.end, {
      open: async (from, to, signal) => joined(from, to, signal, async (a, b) => {
        const answer = await this.ways.api.listen(id, { from: a, to: b, ...which }, signal)
        if (!answer.body) throw new Error('listen to a take: the answer is empty')
        return answer.body
      }),
      block: (index, data) => {
        this.say({ do: 'block', lay, index, data }, [data.buffer])
        this.adopt()
      },
      drop: (indices) => this.say({ do: 'drop', lay, indices }),
      end: (end) => this.say({ do: 'end', lay, end }),
      trouble: (why) => this.onTrouble(why, ''),
    })
    return { feed, lay }
  }

  /** Fetches what is needed next. */
  tend() {
    if (this.soon) return // it will begin here
    const { pos } = this.clock
    this.feed?.tend(pos, this.looped, this.playing)
    this.coming?.feed.tend(pos, this.looped, this.playing)
    this.adopt()
  }

  /** Goes over to the line that was fetched, once its sound is there where it is heard. */
  adopt() {
    const { coming } = this
    if (!coming || (this.moving && !coming.feed.has(this.clock.pos, READY))) return
    this.feed?.close()
    this.feed = coming.feed
    this.laid = coming.laid
    this.coming = null
    this.say({ do: 'use', lay: coming.lay })
    this.weigh()
    this.lay()
    this.changed()
  }

  /** Begins to fetch the line asked for, if none is being fetched already. */
  lay() {
    if (this.coming || same(this.asked, this.laid) || !this.take) return
    this.coming = { ...this.open(this.asked), laid: this.asked }
    this.tend()
  }

  /**
   * Lays another sound or line: the old one is heard until there is enough of the new. When lines
   * follow each other quickly, those that would come too late anyway are left out.
   * @param {Laid} laid
   */
  setLine(laid) {
    const other = laid.sound !== this.asked.sound
    this.asked = { sound: laid.sound, line: laid.line && { ...laid.line }, alone: laid.alone }
    if (other) void this.weighLoudness(this.take, laid.sound, 0)
    this.lay()
    this.changed()
  }

  /** @param {import('./player.js').Report} report */
  onReport(report) {
    if (report.echo !== undefined) this.echo = Math.max(this.echo, report.echo)
    if (report.serial !== this.serial) return
    this.clock.add(report)
    this.moving = report.moving
    if (!report.waiting) this.dry = 0
    else if (!this.dry) {
      this.dry = performance.now()
      setTimeout(() => this.changed(), PATIENCE + 10)
    }
    if (report.ended && this.playing) {
      this.playing = false
      this.ended = true
      this.rest()
    }
    this.tend()
    this.follow()
    this.changed()
  }

  play() {
    if (!this.take) return
    this.begin()
    if (this.ended || this.clock.pos >= this.end) this.seek(this.looped ? this.looped.from / RATE : 0)
    this.playing = true
    this.ended = false
    this.say({ do: 'play' })
    this.wake()
    this.tend()
    this.follow()
    this.changed()
  }

  pause() {
    this.playing = false
    this.say({ do: 'pause' })
    this.onContext()
    this.rest()
    this.changed()
  }

  toggle() {
    if (this.playing) this.pause()
    else this.play()
  }

  /** @param {number} t  seconds */
  seek(t) {
    const frame = Math.min(this.end, Math.max(0, Math.round(t * RATE)))
    this.serial++
    this.ended = false
    this.clock.set(frame, this.serial)
    this.say({ do: 'seek', frame, serial: this.serial })
    this.tend()
    this.tellTime()
    this.changed()
  }

  /**
   * Plays a stretch again and again; a playhead outside of it goes to its beginning.
   * @param {number | null} from  seconds; null: loops no more
   * @param {number} [to]
   */
  loop(from, to = 0) {
    const last = this.end - LONGEST_JOIN - 1 // the join needs sound to fade
    const a = Math.max(0, Math.round(Number(from) * RATE))
    const b = Math.min(last, Math.round(to * RATE))
    this.looped = from !== null && b - a >= SHORTEST_LOOP * RATE ? { from: a, to: b } : null
    this.say({ do: 'loop', loop: this.looped })
    const { pos } = this.clock
    if (this.looped && (pos < a || pos > b - NEAR)) this.seek(from ?? 0)
    this.tend()
    this.changed()
  }

  /** @param {Mode} mode  flip goes from the one to the other each time */
  setMode(mode) {
    this.mode = mode
    this.hearing = hearingOf(mode, this.hearing)
    this.weigh()
    this.changed()
  }

  /** @param {number} volume  a gain, 0 to 1 */
  setVolume(volume) {
    page.volume = Math.min(1, Math.max(0, Number.isFinite(volume) ? volume : 0))
    page.chosen = true
    this.weigh()
    this.changed()
  }

  /** @param {number} [frames]  how long it takes; left out: as short as can be */
  weigh(frames) {
    const message = { do: /** @type {const} */ ('gains'), matrix: this.laid.alone ? matrix('scratch', matched(null, null), page.volume) : matrix(this.hearing, this.match, page.volume) }
    this.say(frames === undefined ? message : { ...message, frames })
  }

  /**
   * Asks how loud both are, where there are two, until all of it was measured, and glides to each answer.
   * @param {string} id @param {string | undefined} sound @param {number} asked  how often it was
   */
  async weighLoudness(id, sound, asked) {
    clearTimeout(this.listening)
    if (this.asked.alone) return
    const answer = await this.ways.api.loudness(id, sound || undefined, this.closed.signal).catch(() => null)
    if (this.closed.signal.aborted || id !== this.take || sound !== this.asked.sound) return
    if (answer) {
      this.match = matched(answer.body_lufs, answer.scratch_lufs)
      this.known = { known: answer.body_lufs !== null && answer.scratch_lufs !== null, whole: answer.whole }
      this.weigh(GLIDE)
      this.changed()
    }
    if (answer?.whole) return
    clearTimeout(this.listening)
    this.listening = window.setTimeout(() => void this.weighLoudness(id, sound, asked + 1), Math.min(10_000, 1000 * 1.5 ** asked))
  }

  /** The moment of the clip that is heard now. @returns {number} seconds */
  time() {
    return this.timeAt(performance.now())
  }

  /**
   * The moment of the clip that is heard at a moment of the page's clock, not far from now.
   * @param {number} when  ms, as performance.now counts
   * @returns {number}     seconds
   */
  timeAt(when) {
    return Math.min(this.end, this.clock.heard(heardFrame(this.context, when))) / RATE
  }

  /** Tells the time while it goes, once a frame of the screen, and until what was paused is heard out. */
  follow() {
    if (this.following) return
    this.following = requestAnimationFrame(() => {
      this.following = 0
      this.tellTime()
      if (this.moving || heardFrame(this.context, performance.now()) < (this.clock.anchors.at(-1)?.at ?? 0)) this.follow()
    })
  }

  /** Wakes the sound device; where the browser wants a gesture first, the next one does it. */
  wake() {
    clearTimeout(this.idle)
    const { context } = this
    if (!(context instanceof AudioContext) || context.state === 'running') return
    void context.resume().catch(() => {})
    setTimeout(() => this.onContext(), 300)
  }

  onContext() {
    const { context } = this
    if (!(context instanceof AudioContext)) return
    this.blocked = this.playing && context.state === 'suspended'
    for (const kind of ['pointerdown', 'keydown']) {
      if (this.blocked) addEventListener(kind, this.again, { capture: true, signal: this.closed.signal })
      else removeEventListener(kind, this.again, { capture: true })
    }
    this.changed()
  }

  again = () => this.wake()

  /** Lets go of the sound device when nothing is played for long. */
  rest() {
    clearTimeout(this.idle)
    this.idle = window.setTimeout(() => {
      if (!this.playing && this.context instanceof AudioContext && this.context.state === 'running') void this.context.suspend()
    }, IDLE)
  }

  /** @param {unknown} why  null: it goes again @param {string} hint */
  onTrouble(why, hint) {
    const said = /** @type {{message?: string, hint?: string}} */ (why)
    this.trouble = why ? { error: said?.message || String(why), hint: said?.hint || hint } : null
    this.changed()
  }

  /** Fades out and lets go of everything. */
  close() {
    this.closed.abort()
    this.feed?.close()
    this.coming?.feed.close()
    this.coming = this.feed = null
    for (const timer of [this.idle, this.listening, this.soon]) clearTimeout(timer)
    cancelAnimationFrame(this.following)
    this.say({ do: 'pause' })
    setTimeout(() => {
      this.say({ do: 'close' })
      this.node?.disconnect()
      if (this.context instanceof AudioContext) void this.context.close().catch(() => {})
    }, FADED)
  }
}
