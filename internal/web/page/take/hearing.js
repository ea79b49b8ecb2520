// The row for listening: play, which microphone is heard, loop and volume.

import { h, say } from '../common/dom.js'
import { keyed } from './moving.js'
import { sentence } from './saying.js'
import { clock } from '../common/words.js'

/** @typedef {import('../listen/listen.js').Mode} Mode */

/** @type {[Mode, string, string][]} */
const MODES = [
  ['both', 'Both', 'both microphones together, as loud as each other'],
  ['split', 'Split', 'the good sound left, the camera right'],
  ['body', 'Good sound', 'the body mic alone'],
  ['scratch', 'Camera', "the camera's own sound alone"],
  ['flip', 'Flip', 'from the one to the other, again with each press'],
]

export class Hearing {
  /** @param {{listener: import('../listen/listen.js').Listener, loop: () => void}} o */
  constructor({ listener, loop }) {
    this.listener = listener
    this.offered = 'both'
    this.play = keyed('Play', 'Space', () => this.toggle(), { class: 'plain keyed play' })
    this.modes = h('div', { class: 'row modes', role: 'group', 'aria-label': 'What is heard' },
      MODES.map(([mode, name, title], i) => keyed(name, String(i + 1), () => listener.setMode(mode), { title, 'aria-pressed': 'false' })))
    this.loop = keyed('Loop', 'L', loop, { 'aria-pressed': 'false', title: 'Plays what is on the glass round and round' })
    this.volume = h('input', { type: 'range', id: 'volume', min: '0', max: '1', step: '0.01', oninput: () => listener.setVolume(Number(this.volume.value) ** 2) })
    this.time = h('output', { class: 'time', 'aria-live': 'off' })
    this.says = h('p', { class: 'small quiet', role: 'status' })
    this.root = h('section', { class: 'hearing', 'aria-label': 'Listening' }, this.play, this.time, this.modes, this.loop,
      h('span', { class: 'row' }, h('label', { for: 'volume' }, 'Volume'), this.volume), this.says)
  }

  /** Plays and pauses, where there is something to listen to. */
  toggle() {
    if (!this.play.disabled) this.listener.toggle()
  }

  /** @param {'both' | 'camera' | 'nothing'} what  there is to hear */
  offer(what) {
    if (this.offered === what) return
    this.offered = what
    if (what === 'nothing') this.listener.pause()
    this.play.disabled = what === 'nothing'
    for (const mode of this.modes.children) /** @type {HTMLButtonElement} */ (mode).disabled = what !== 'both'
    this.show(this.listener.state)
  }

  /** @param {number} i  0 to 4 */
  mode(i) {
    if (this.offered === 'both') this.listener.setMode(MODES[i][0])
  }

  /** @param {import('../listen/listen.js').Listening} s */
  show(s) {
    say(/** @type {Element} */ (this.play.firstElementChild), s.playing ? 'Pause' : 'Play')
    MODES.forEach(([mode], i) => this.modes.children[i].setAttribute('aria-pressed', String(this.offered === 'camera' ? mode === 'scratch' : s.mode === mode)))
    this.loop.setAttribute('aria-pressed', String(s.loop !== null))
    if (document.activeElement !== this.volume) this.volume.value = String(Math.sqrt(s.volume))
    say(this.says, this.#says(s))
  }

  /** @param {import('../listen/listen.js').Listening} s */
  #says(s) {
    if (this.offered === 'nothing') return 'It has no sound of its own: nothing is heard until a sound is paired with it.'
    if (s.trouble) return `${sentence(s.trouble.error)} ${sentence(s.trouble.hint)}`
    if (s.blocked) return 'The browser wants a key or a click before it makes a sound.'
    if (s.waiting) return 'Waiting for sound.'
    if (this.offered === 'camera') return `Only the camera is heard: no sound is paired with it. ${s.quiet}`.trim()
    const now = s.mode === 'flip' ? `Heard now: ${s.hearing === 'scratch' ? 'the camera' : 'the good sound'}. ` : ''
    return now + s.quiet
  }

  /** @param {number} t  clip seconds */
  at(t) {
    say(this.time, clock(t, 3))
  }
}
