// The panel with which a person moves the sound: steps, a typed place, marks,
// and measuring from here. What each does is done by the take (take.js).

import { fill, h, say } from '../common/dom.js'
import { both, marksApart } from './marks.js'
import { STEPS, movedWords, parseOffset } from './moves.js'
import { clock, ms } from '../common/words.js'

/** @typedef {import('./moves.js').Step} Step */

/** @type {Record<Step, string>} */
export const STEP_NAMES = { sample: '1 sample', tenth: '0.1 ms', ms: '1 ms', frame: '1 frame' }

/** A button that shows the key that does the same.
 * @param {string} text @param {string} key  as printed @param {() => void} does @param {Record<string, any>} [more] */
export const keyed = (text, key, does, more) =>
  h('button', { type: 'button', class: 'plain keyed', onclick: does, ...more }, h('span', null, text), key ? h('kbd', { 'aria-hidden': 'true' }, key) : null)

/**
 * @typedef {object} MovingDeeds
 * @property {(step: Step, count: number) => void} nudge
 * @property {(line: import('../glass/lines.js').Line) => void} place
 * @property {() => void} restore
 * @property {(half: 'clip' | 'sound') => void} mark  at the playhead
 * @property {() => void} lineUp
 * @property {() => void} unmark
 * @property {() => void} measure
 * @property {() => {line: import('../glass/lines.js').Line, of: {rate: number, fps: number}} | null} now
 * @property {(step: Step) => void} choose
 */

export class Moving {
  /** @param {MovingDeeds} deeds */
  constructor(deeds) {
    this.deeds = deeds
    this.where = h('p', { class: 'where' })
    this.steps = h('fieldset', { class: 'steps' }, h('legend', { class: 'unseen' }, 'Step'),
      STEPS.map((s) => h('label', null, h('input', { type: 'radio', name: 'step', value: s, class: 'unseen', onchange: () => deeds.choose(s) }), STEP_NAMES[s])))
    this.field = h('input', { type: 'text', id: 'offset', autocomplete: 'off', spellcheck: false, 'aria-describedby': 'offset-why', onkeydown: (/** @type {KeyboardEvent} */ e) => this.#typed(e), onblur: () => this.#leave() })
    this.why = h('p', { class: 'small', id: 'offset-why' })
    this.marks = h('p', { class: 'small' })
    this.restore = keyed('Back to the measured place', 'R', deeds.restore)
    this.up = keyed('Line up the marks', 'U', deeds.lineUp)
    this.none = keyed('Take the marks away', '', deeds.unmark)
    this.later = [keyed('Earlier', ',', () => deeds.nudge(this.step, -1)), keyed('Later', '.', () => deeds.nudge(this.step, 1))]
    this.measure = keyed('Measure from here', 'E', deeds.measure)
    this.mark = [keyed('Mark the good sound', 'B', () => deeds.mark('sound')), keyed('Mark the camera', 'V', () => deeds.mark('clip'))]
    this.found = h('div', { class: 'found', role: 'status' })
    this.root = h('section', { class: 'moving' }, h('h2', null, 'Where the sound lies'), this.where,
      h('div', { class: 'row' }, this.later, h('span', { class: 'quiet' }, 'by'), this.steps),
      h('div', { class: 'row' }, h('label', { for: 'offset' }, 'The clip begins at'), this.field, h('kbd', { 'aria-hidden': 'true' }, 'T')), this.why,
      h('div', { class: 'row' }, this.restore, this.measure), this.found,
      h('div', { class: 'row' }, this.mark, this.up, this.none), this.marks)
    /** @type {Step} */
    this.step = 'ms'
    this.choose('ms')
  }

  /** @param {Step} step */
  choose(step) {
    this.step = step
    for (const input of this.steps.querySelectorAll('input')) input.checked = input.value === step
  }

  /** @param {KeyboardEvent} e */
  #typed(e) {
    if (e.key === 'Escape') this.field.blur()
    const now = this.deeds.now()
    if (e.key !== 'Enter' || !now) return
    const got = parseOffset(this.field.value, now.line, now.of)
    if ('why' in got) {
      this.field.setAttribute('aria-invalid', 'true')
      return say(this.why, `Not moved: ${got.why}.`)
    }
    this.deeds.place(got.line)
    this.field.blur()
  }

  #leave() {
    this.field.removeAttribute('aria-invalid')
    say(this.why, 'A place in the sound, as 1:02.345, or a shift, as +1 ms, -2 frames, 3 samples later.')
    const now = this.deeds.now()
    if (now) this.field.value = clock(now.line.offset_s, 5)
  }

  /** @param {{line: import('../glass/lines.js').Line | undefined, moved: number, measured: boolean, marks: import('./marks.js').Marks, laid: import('../glass/lines.js').Span[]}} m */
  show({ line, moved, measured, marks, laid }) {
    say(this.where, !line ? 'No sound lies here yet.' : measured ? `It lies ${movedWords(moved)}.` : 'It lies where you laid it; nothing was measured.')
    for (const control of [...this.later, ...this.mark, this.measure, this.field]) control.disabled = !line
    this.restore.disabled = !measured || Math.abs(moved) < 5e-4
    this.up.disabled = !both(marks)
    this.none.hidden = Number.isNaN(marks.clip) && Number.isNaN(marks.sound)
    const apart = marksApart(marks, laid)
    say(this.marks, both(marks) ? `The marks lie ${ms(apart)} apart: lining them up lays the sound ${apart > 0 ? 'later' : 'earlier'} by that.`
      : this.none.hidden ? 'Mark one moment in each half at the playhead, or with Shift and a click.' : `Marked in ${Number.isNaN(marks.clip) ? 'the good sound' : "the camera's sound"}; mark the same moment in the other half.`)
    if (document.activeElement !== this.field) this.#leave()
  }

  /** What measuring from here found, for a person to take or leave; null clears it.
   * @param {{text: string, take?: () => void, leave?: () => void} | null} found */
  showFound(found) {
    fill(this.found, found && h('p', null, found.text),
      found?.take && h('div', { class: 'row' }, keyed('Take it', '', found.take), keyed('Leave it', '', found.leave ?? (() => {}))))
  }
}
