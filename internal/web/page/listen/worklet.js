/** The desk's player as the browser's audio thread runs it; player.js does the work. */

import { Player } from './player.js'

const scope = /** @type {any} */ (globalThis) // what only an audio worklet has

class Listening extends scope.AudioWorkletProcessor {
  constructor() {
    super()
    this.player = new Player((report) => this.port.postMessage(report))
    this.port.onmessage = (/** @type {MessageEvent} */ event) => {
      this.player.now = scope.currentFrame
      this.player.tell(event.data)
    }
  }

  /** @param {Float32Array[][]} _ @param {Float32Array[][]} outputs */
  process(_, outputs) {
    this.player.render(outputs[0][0], outputs[0][1], scope.currentFrame)
    return !this.player.closed
  }
}

scope.registerProcessor('listening', Listening)
