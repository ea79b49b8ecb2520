// The keys that work at a take.

import { announce } from '../common/keys.js'
import { STEP_NAMES } from './moving.js'
import { STEPS } from './moves.js'

export const PLACE = 'At a take'

/** Says which keys there are, while no take is shown. */
export const unbound = () => announce(PLACE, keysOf(/** @type {any} */ (null)))

/** @param {import('./take.js').TakeScreen} s @returns {import('../common/keys.js').Row[]} */
export function keysOf(s) {
  const hint = 'drag the upper ruler, which is the good sound\'s own: moves the sound (Shift: a tenth as far); drag anywhere else: moves the view'
  const choose = (/** @type {number} */ by) => {
    const step = STEPS[(STEPS.indexOf(s.moving.step) + by + STEPS.length) % STEPS.length]
    s.moving.choose(step)
    s.ways.tell(`Step: ${STEP_NAMES[step]}`)
  }
  // One row of the table: keys with a blank between them.
  const row = (/** @type {string} */ keys, /** @type {string} */ says, /** @type {() => unknown} */ run) => ({ keys: keys.split(' '), says, run: () => void run() })
  return [
    { keys: ['Hand'], says: hint },
    { keys: ['Wheel'], says: 'over the mirror: closer and wider; sideways or with Shift: earlier and later' },
    row('Space', 'play and pause', () => s.hearing.toggle()),
    row('ArrowLeft', 'a frame back', () => s.step(-1)),
    row('ArrowRight', 'a frame on', () => s.step(1)),
    row('Shift+ArrowLeft', 'a second back', () => s.seek(s.playhead - 1, true)),
    row('Shift+ArrowRight', 'a second on', () => s.seek(s.playhead + 1, true)),
    row('Home', 'to the beginning', () => s.seek(0, true)),
    row('End', 'to the end', () => s.seek(Infinity, true)),
    row('PageUp', 'the glass to earlier moments', () => s.glass.turn(-0.75)),
    row('PageDown', 'and to later ones', () => s.glass.turn(0.75)),
    row('+ =', 'closer', () => s.glass.zoom(2)),
    row('-', 'wider', () => s.glass.zoom(0.5)),
    row('−', '', () => s.glass.zoom(0.5)),
    row('0', 'the whole take', () => s.glass.span(0)),
    row('7', 'ten seconds', () => s.glass.span(10)),
    row('8', 'a tenth of a second', () => s.glass.span(0.1)),
    row('9', 'two milliseconds', () => s.glass.span(0.002)),
    row('1', 'both microphones', () => s.hearing.mode(0)),
    row('2', 'good sound left, camera right', () => s.hearing.mode(1)),
    row('3', 'the good sound alone', () => s.hearing.mode(2)),
    row('4', 'the camera alone', () => s.hearing.mode(3)),
    row('5', 'flip between them', () => s.hearing.mode(4)),
    row('l', 'loop what is on the glass', () => s.loop()),
    row('c', 'next clap', () => s.clap(1)),
    row('Shift+c', 'clap before', () => s.clap(-1)),
    row('w', 'worst place of the seam', () => s.worst()),
    row(',', 'sound a step earlier', () => s.nudge(s.moving.step, -1)),
    row('.', 'sound a step later', () => s.nudge(s.moving.step, 1)),
    row('<', 'sound a frame earlier', () => s.nudge('frame', -1)),
    row('>', 'sound a frame later', () => s.nudge('frame', 1)),
    row(';', '', () => s.nudge('frame', -1)),
    row(':', '', () => s.nudge('frame', 1)),
    row('s', 'longer step', () => choose(1)),
    row('Shift+s', 'shorter step', () => choose(-1)),
    row('t', 'type where it lies', () => s.moving.field.select()),
    row('b', 'mark the good sound', () => s.mark('sound', s.playhead)),
    row('v', "mark the camera's sound", () => s.mark('clip', s.playhead)),
    row('u', 'line the marks up', () => s.lineUp()),
    row('r', 'back to the measured place', () => s.restore()),
    row('e', 'measure from here', () => s.measure()),
    row('o', 'pair with another sound', () => s.others.open()),
    row('x', 'these two do not belong together', () => s.refuse()),
    row('i', 'heights: whole take or glass', () => s.heights()),
    row('y', 'scale of the seam', () => s.seamScale()),
    row('q', 'ruler in time or frames', () => s.frames()),
    row('a', 'approve, and on to the next', () => s.approveAndGo()),
    row('n', 'next take to look at', () => s.next()),
  ]
}

unbound()
