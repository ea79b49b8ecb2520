// Other places and other sounds for a clip: what the measurement weighed, with
// what speaks for and against each, and all sounds for pairing by hand.

import { fill, h } from '../common/dom.js'
import { keyed } from './moving.js'
import { sentence } from './saying.js'
import { clock, count, dayTime } from '../common/words.js'

/** @typedef {import('../types').Recording} Recording */
/** @typedef {import('../types').Candidate} Candidate */

/** Where a sound would lie if all that is known of it is the day's clock; at its beginning where not even that is.
 * @param {Recording} clip @param {Recording} sound @returns {{offset_s: number, drift_ppm: number}} */
export function guess(clip, sound) {
  const known = clip.day_s !== null && sound.day_s !== null
  return { offset_s: known ? Number(clip.day_s) - Number(sound.day_s) : 0, drift_ppm: 0 }
}

/** The sounds a person may pair by hand: those whose name holds all words typed, nearest in the day first.
 * @param {Recording[]} recordings @param {Recording} clip @param {string} typed @returns {Recording[]} */
export function soundsFor(recordings, clip, typed) {
  const words = typed.toLowerCase().split(/\s+/).filter(Boolean)
  const far = (/** @type {Recording} */ s) => {
    if (clip.day_s === null || s.day_s === null) return Infinity
    const apart = Math.max(s.day_s - (clip.day_s + clip.length_s), clip.day_s - (s.day_s + s.length_s))
    return Math.max(0, apart)
  }
  return recordings
    .filter((r) => r.kind === 'sound' && r.state === 'read' && words.every((w) => r.name.toLowerCase().includes(w)))
    .sort((a, b) => (far(a) === far(b) ? a.name.localeCompare(b.name, 'en', { numeric: true }) : far(a) - far(b)))
}

/**
 * @typedef {object} OtherDeeds
 * @property {(c: Candidate) => void} pick
 * @property {(sound: Recording, line: {offset_s: number, drift_ppm: number}) => void} pair
 * @property {() => void} refuse
 * @property {(id: string) => void} allow  takes a refusal back
 * @property {(id: string) => string} nameOf
 */

export class Others {
  /** @param {OtherDeeds} deeds */
  constructor(deeds) {
    this.deeds = deeds
    this.list = h('ul', { class: 'candidates' })
    this.refuse = keyed('These two do not belong together', 'X', deeds.refuse)
    this.refused = h('ul', { class: 'candidates', 'aria-label': 'Refused sounds' })
    this.search = h('input', { type: 'text', id: 'sound-search', autocomplete: 'off', oninput: () => this.#all() })
    this.all = h('ul', { class: 'sounds' })
    this.more = h('details', { ontoggle: () => this.#all() }, h('summary', null, 'Pair it with another sound by hand', h('kbd', { 'aria-hidden': 'true' }, 'O')),
      h('div', { class: 'row' }, h('label', { for: 'sound-search' }, 'Name'), this.search), this.all)
    this.root = h('section', { class: 'others' }, h('h2', null, 'Other places and sounds'), this.list, h('div', { class: 'row' }, this.refuse), this.refused, this.more)
    /** @type {Recording[]} */
    this.recordings = []
    /** @type {Recording | null} */
    this.clip = null
    this.sound = ''
  }

  /** @param {{clip: Recording, recordings: Recording[], sound: string, line: {offset_s: number} | undefined, candidates: Candidate[], refused: string[]}} m */
  show({ clip, recordings, sound, line, candidates, refused }) {
    const had = this.root.contains(document.activeElement)
    Object.assign(this, { clip, recordings, sound })
    this.refuse.disabled = !sound
    this.refused.hidden = !refused.length
    fill(this.refused, refused.map((id) => h('li', { class: 'row' }, h('span', null, `${this.deeds.nameOf(id)} was refused`), keyed('Take the refusal back', '', () => this.deeds.allow(id)))))
    fill(this.list, candidates.length ? candidates.map((c) => this.#candidate(c, c.sound === sound && !!line && Math.abs(line.offset_s - c.line.offset_s) < 0.1))
      : h('li', { class: 'quiet' }, 'No other place was near enough to be weighed.'))
    this.#all()
    // What was pressed is no more: whoever goes by keys stays in this part.
    if (had && (document.activeElement === document.body || document.activeElement === this.refuse && this.refuse.disabled)) /** @type {HTMLElement} */ (this.more.firstElementChild).focus()
  }

  /** @param {Candidate} c @param {boolean} here */
  #candidate(c, here) {
    const reasons = (/** @type {string} */ word, /** @type {string[] | null} */ list) =>
      list?.length ? h('p', { class: 'small' }, h('b', null, word), ' ', list.map(sentence).join(' ')) : null
    return h('li', here ? { 'aria-current': 'true' } : null,
      h('div', { class: 'row' }, h('span', null, `${this.deeds.nameOf(c.sound)} at ${clock(c.line.offset_s, 2)}`),
        h('span', { class: 'small quiet' }, `${c.strength.toFixed(1)} times above the noise`),
        here ? h('span', { class: 'small' }, 'lies here now') : keyed('Lay it here', '', () => this.deeds.pick(c))),
      reasons('For:', c.for), reasons('Against:', c.against))
  }

  /** Fills the list of all sounds, once it is open. */
  #all() {
    const { clip } = this
    if (!this.more.open || !clip) return
    const found = soundsFor(this.recordings, clip, this.search.value)
    const most = 100
    fill(this.all, found.slice(0, most).map((s) => {
      const line = guess(clip, s)
      return h('li', { class: 'row' }, h('span', null, s.name), h('span', { class: 'small quiet' }, [clock(s.length_s), s.day_s === null ? 'at no known time of day' : dayTime(s.day_s, true)].join(', ')),
        s.id === this.sound ? h('span', { class: 'small' }, 'lies here now') : keyed('Pair', '', () => this.deeds.pair(s, line)))
    }), found.length > most ? h('li', { class: 'quiet' }, `and ${count(found.length - most, 'more')}: type part of the name`) : null,
    found.length ? null : h('li', { class: 'quiet' }, 'No sound of such a name.'))
  }

  open() {
    this.more.open = true
    this.#all()
    this.search.focus()
  }
}
