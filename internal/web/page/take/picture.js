/**
 * The clip's picture, in step with what is heard. Sound leads: the picture runs a little faster or
 * slower until it is with it, and jumps only where it is far off. Where the browser can show the
 * clip itself it does, otherwise a small copy that the program makes.
 *
 *   const picture = createPicture(root, { api })
 *   picture.load(recording)
 *   picture.follow(listener)
 */

/**
 * Further off than this, and than a jump takes, it jumps, in seconds; nearer it is mended by running
 * faster or slower.
 */
const FAR = 0.25

/** The sound has gone elsewhere where its time leaps by more than this, in seconds: a busy machine tells it unevenly. */
const JOLT = 0.12

/** How much faster or slower per second that it is off: 10 ms are mended at 2 %. */
const HASTE = 2

/** No faster or slower than by so much. Nobody hears it: the picture is mute. */
const MOST = 0.5

/**
 * While it runs as it is, so little is left alone, in frames, and no less than half a turn of a screen,
 * in seconds: that much a browser shows frames early or late by. What is mended is mended further.
 */
const LEFT_ALONE = 1 / 3
const HALF_A_TURN = 0.009
const MENDED = 1 / 8

/** So many shown frames are looked at to say how far off it is now, and how well it held. */
const NOW = 7
const LATELY = 250

/** After a jump it takes so long at most until the picture goes on, in ms. */
const LANDING = 600

/** No jump is taken to last longer, in seconds. Where key frames are far apart it is long. */
const LONGEST_JUMP = 1.5

/** Moments are rounded to samples, so a frame's first may lie a hair before the frame. */
const SAMPLE = 1 / 48000

/** What stands where no picture can be. */
const WORDS = {
  none: 'This recording has no picture.',
  making: 'Making a small copy to look at',
  failed: 'The picture cannot be shown',
}

/** @typedef {import('../types').Recording} Recording */
/** @typedef {Pick<import('../common/api.js').API, 'fileURL' | 'pictureURL' | 'copied' | 'makePicture' | 'stillURL'>} Asked */
/** @typedef {Pick<import('../listen/listen.js').Listener, 'time' | 'timeAt' | 'watch' | 'moving' | 'playing'>} Followed */

/**
 * The middle of the frame that shows at t, in seconds: a seek there lands on no edge.
 * @param {number} t @param {number} start  when the first frame shows
 * @param {number} length  of a frame; 0: unknown, then t itself
 */
export function middleOfFrame(t, start, length) {
  if (length <= 0) return Math.max(0, t)
  return Math.max(0, start + (Math.max(0, Math.floor((t + SAMPLE - start) / length)) + 0.5) * length)
}

/**
 * How fast the picture is to run.
 * @param {number} off  seconds by which it is late
 * @param {number} frame  seconds
 * @param {number} was  how fast it runs
 */
export function pace(off, frame, was) {
  const near = was === 1 ? Math.max(LEFT_ALONE * frame, HALF_A_TURN) : MENDED * frame
  if (Math.abs(off) < near) return 1
  return 1 + Math.round(200 * Math.min(MOST, Math.max(-MOST, HASTE * off))) / 200
}

/** @param {number[]} values */
const median = (values) => values.toSorted((a, b) => a - b)[values.length >> 1] ?? 0

/** @param {HTMLElement} root @param {{api: Asked, onState?: (picture: Picture) => void}} ways */
export const createPicture = (root, ways) => new Picture(root, ways)

export class Picture {
  /** @param {HTMLElement} root @param {{api: Asked, onState?: (picture: Picture) => void}} ways */
  constructor(root, ways) {
    this.ways = ways
    this.video = document.createElement('video')
    Object.assign(this.video, { muted: true, playsInline: true, preload: 'auto', disablePictureInPicture: true, tabIndex: -1 })
    this.video.preservesPitch = false // keeping it, though mute, makes the clip's clock leap by some 30 ms at a change of speed
    this.words = document.createElement('p')
    this.words.className = 'picture-words'
    this.words.setAttribute('role', 'status')
    root.append(this.video, this.words)
    /** @type {Recording | null} */
    this.recording = null
    /** @type {'' | 'file' | 'copy'} */
    this.source = ''
    /** @type {Followed | null} */
    this.followed = null
    this.unfollow = () => {}
    this.frameLength = 0
    /** @type {number | null} where to go once the seek under way is done */
    this.next = null
    this.wanted = 0 // the moment to be shown
    /** @type {number[]} seconds by which the last frames were shown late */
    this.late = []
    this.lead = 0.05 // how long a jump takes, learnt
    this.landing = 0 // until when a jump is waited for, ms
    this.last = { t: 0, when: 0 } // what was heard when
    this.frames = 0
    this.told = 'requestVideoFrameCallback' in this.video // of every frame that is shown
    this.copying = new AbortController()
    this.closed = false
    this.listen()
  }

  /** How far the picture is behind what is heard, in ms: now, and what 95 of 100 frames lately were within. */
  get leftover() {
    const off = this.late.map((s) => Math.abs(s)).sort((a, b) => a - b)
    return { ms: 1000 * median(this.late.slice(-NOW)), within_ms: 1000 * (off[Math.floor(off.length * 0.95)] ?? 0), frames: this.frames }
  }

  listen() {
    const { video } = this
    video.addEventListener('error', () => this.onError())
    video.addEventListener('loadeddata', () => {
      this.say('')
      this.show(this.wanted)
    })
    video.addEventListener('seeked', () => {
      if (this.next === null) return
      const next = this.next
      this.next = null
      this.go(next)
    })
    const onFrame = (/** @type {number} */ _, /** @type {VideoFrameCallbackMetadata} */ frame) => {
      if (this.closed) return
      if (this.source && !video.paused && !video.seeking) this.measure(frame.mediaTime, frame.expectedDisplayTime)
      video.requestVideoFrameCallback(onFrame)
    }
    if (this.told) video.requestVideoFrameCallback(onFrame)
  }

  /** @param {string} words */
  say(words) {
    this.words.textContent = words
    this.words.hidden = words === ''
    this.ways.onState?.(this)
  }

  /** @param {Recording} recording */
  load(recording) {
    this.recording = recording
    const picture = recording.picture
    this.frameLength = picture && picture.fps > 0 ? 1 / picture.fps : 0
    this.late = []
    this.frames = 0
    this.wanted = 0
    this.next = null
    this.video.hidden = picture === null
    if (!picture) {
      this.empty()
      this.say(WORDS.none)
      return
    }
    this.video.poster = this.ways.api.stillURL(recording.id, 0, 640)
    this.say('')
    this.use(this.playable(recording) ? 'file' : 'copy')
  }

  /** Whether the browser says that it can show the clip itself. @param {Recording} recording */
  playable(recording) {
    const type = recording.picture?.type ?? ''
    return type !== '' && this.video.canPlayType(type) !== ''
  }

  /** @param {'file' | 'copy'} source */
  use(source) {
    if (!this.recording) return
    this.source = source
    this.copying.abort()
    if (source === 'copy') void this.copy(this.ways.api.pictureURL(this.recording.id))
    else this.video.src = this.ways.api.fileURL(this.recording.id)
  }

  /** Shows the small copy as soon as it is made. @param {string} url */
  async copy(url) {
    this.copying = new AbortController()
    const { signal } = this.copying
    this.say(WORDS.making)
    try {
      await this.ways.api.copied(url, signal)
      if (!signal.aborted) this.video.src = url
    } catch (why) {
      if (!signal.aborted) this.fail(why instanceof Error ? why.message : String(why))
    }
  }

  /** @param {string} why */
  fail(why) {
    this.source = ''
    this.say(`${WORDS.failed}: ${why}`)
  }

  onError() {
    if (!this.source) return // emptied
    if (this.source === 'file') return this.use('copy')
    this.fail(this.video.error?.message || 'the browser does not say why')
  }

  /** Asks the program to make the small copy of a clip that will be looked at next, if one will be needed. @param {Recording} recording */
  async ahead(recording) {
    if (recording.picture && !this.playable(recording)) await this.ways.api.makePicture(recording.id).catch(() => {})
  }

  /** @param {Followed} listener */
  follow(listener) {
    this.unfollow()
    this.followed = listener
    this.unfollow = listener.watch({ onTime: (t) => this.step(t), onState: () => this.step(listener.time()) })
  }

  /** Goes with the sound, whose moment t is heard now. @param {number} t */
  step(t) {
    const { video, followed } = this
    this.wanted = t
    if (!this.source || !followed) return
    const when = performance.now()
    const jumped = Math.abs(t - this.last.t - (when - this.last.when) / 1000) > JOLT
    const running = !video.paused
    this.last = { t, when }
    if (!followed.moving || !followed.playing) {
      if (running) video.pause()
      video.playbackRate = 1
      this.show(t)
      return
    }
    if (!running) {
      this.late = []
      if (Math.abs(video.currentTime - t) > Math.max(this.frameLength, 0.03)) this.jump(t)
      void video.play().catch(() => {})
      return
    }
    if (when < this.landing || video.seeking) return
    if (!this.told) this.note(t - video.currentTime)
    const off = jumped ? t - video.currentTime : median(this.late.slice(-NOW))
    if (Math.abs(off) > (jumped ? this.frameLength : FAR + this.lead)) this.jump(t)
    else video.playbackRate = pace(off, this.frameLength, video.playbackRate)
  }

  /** A frame is shown. @param {number} mediaTime  its moment of the clip, s @param {number} when  it is seen, ms */
  measure(mediaTime, when) {
    const { followed } = this
    if (!followed || !followed.moving) return
    const off = followed.timeAt(when) - mediaTime
    if (this.landing > 0) { // the first since a jump, however long that took
      this.landing = 0
      this.lead = Math.min(LONGEST_JUMP, Math.max(0, this.lead + (off > FAR ? off : off / 2)))
    }
    this.note(off)
  }

  /** @param {number} off  seconds */
  note(off) {
    this.frames++
    this.late.push(off)
    if (this.late.length > LATELY) this.late.shift()
  }

  /** Jumps while playing to where the sound will be when the jump is done. @param {number} t */
  jump(t) {
    this.landing = performance.now() + LANDING
    this.late = []
    this.video.playbackRate = 1
    this.go(t + this.lead)
  }

  /** Shows the frame of a moment, while nothing plays. @param {number} t  seconds */
  show(t) {
    this.wanted = t
    if (!this.source || !this.video.paused) return
    const last = this.video.duration - this.frameLength / 2 // of the last frame
    this.go(Math.min(middleOfFrame(t, this.recording?.picture?.start_s ?? 0, this.frameLength), last || t))
  }

  /** @param {number} to  seconds */
  go(to) {
    const { video } = this
    if (video.readyState < HTMLMediaElement.HAVE_METADATA) return
    if (video.seeking) this.next = to
    else if (Math.abs(video.currentTime - to) > 1e-3) video.currentTime = to
  }

  empty() {
    this.copying.abort()
    this.source = ''
    this.video.removeAttribute('src')
    this.video.removeAttribute('poster')
    this.video.load()
  }

  close() {
    this.closed = true
    this.unfollow()
    this.empty()
    this.video.remove()
    this.words.remove()
  }
}
