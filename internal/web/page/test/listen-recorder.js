// Hands on what is played to the page, for measuring.
class Recorder extends globalThis.AudioWorkletProcessor {
  process(inputs) {
    if (inputs[0].length === 2) this.port.postMessage([globalThis.currentFrame, inputs[0][0].slice(), inputs[0][1].slice()])
    return true
  }
}
globalThis.registerProcessor('recorder', Recorder)
