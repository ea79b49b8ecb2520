/** Which sound is heard when, as far as a browser knows what its sound device does. */

import { RATE } from './gains.js'

/**
 * Which frame of a context's clock leaves the device at a moment of the page's clock.
 * @param {BaseAudioContext | null} context
 * @param {number} when  ms
 */
export function heardFrame(context, when) {
  if (!context) return 0
  const rendered = context.currentTime
  if (!(context instanceof AudioContext)) return rendered * RATE
  const out = context.getOutputTimestamp()
  const told = Number(out.contextTime) + (when - Number(out.performanceTime)) / 1000
  const late = rendered - told // what lies between rendering and hearing
  if (out.contextTime && late > -0.1 && late < 1) return told * RATE
  return (rendered + (when - performance.now()) / 1000 - (context.outputLatency || context.baseLatency || 0)) * RATE
}
