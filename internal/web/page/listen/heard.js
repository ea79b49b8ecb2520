/** Which sound is heard when, as far as a browser knows what its sound device does. */

import { RATE } from './gains.js'

/**
 * Whether this is Firefox. Asked how late its device plays, its main thread waits for a lock that its
 * own sound thread holds while it waits for the main thread: with PulseAudio the page then hangs for
 * good (seen with 153 ESR: getOutputTimestamp in pa_mutex_lock). So it is not asked.
 */
const HANGS = 'mozInnerScreenX' in globalThis

/** How late a device plays that cannot be asked, in seconds: common practice for shared devices. */
const USUAL = 0.03

/**
 * Which frame of a context's clock leaves the device at a moment of the page's clock.
 * @param {BaseAudioContext | null} context
 * @param {number} when  ms
 */
export function heardFrame(context, when) {
  if (!context) return 0
  const rendered = context.currentTime
  if (!(context instanceof AudioContext)) return rendered * RATE
  const since = (when - performance.now()) / 1000
  if (HANGS) return (rendered + since - USUAL) * RATE
  const out = context.getOutputTimestamp()
  const told = Number(out.contextTime) + (when - Number(out.performanceTime)) / 1000
  const late = rendered - told // what lies between rendering and hearing
  if (out.contextTime && late > -0.1 && late < 1) return told * RATE
  return (rendered + since - (context.outputLatency || context.baseLatency || 0)) * RATE
}
