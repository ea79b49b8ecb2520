// The part of the measuring that runs in the browser: see listen-measure.mjs. What is rendered
// goes through listen.js and the audio worklet as in the page; only the sound device is replaced,
// by an OfflineAudioContext that is held up while sound is fetched.
import { api } from '../common/api.js'
import { RATE } from '../listen/gains.js'
import { createListener } from '../listen/listen.js'
import { createPicture } from '../take/picture.js'
import { dB, largestAbove, random } from './listen-rig.mjs'
import { sounds } from './listen-sounds.mjs'

const nap = (ms) => new Promise((r) => setTimeout(r, ms))

let echoes = 0

/** Waits until all that is wanted at present is here, and the worklet has obeyed all it was told. */
async function settled(listener) {
  listener.tend()
  while (listener.coming || !listener.node || listener.feed.wanted >= 0) await nap(1)
  listener.say({ do: 'echo', serial: ++echoes })
  while (listener.echo < echoes) await nap(1)
  listener.tend()
}

/**
 * What is heard of a take in so many seconds. steps are done in turn at their moments, in seconds.
 * @param {{id: string, seconds: number, length?: number, prepare?: (listener: any) => void, steps?: [number, (listener: any) => unknown][], settle?: (listener: any) => Promise<void>}} how  settle: waits until what is heard next is there
 */
async function rendered({ id, seconds, length = seconds + 5, prepare = () => {}, steps = [], settle = settled }) {
  const context = new OfflineAudioContext(2, Math.round(seconds * RATE), RATE)
  const listener = createListener({ api, context })
  listener.echo = echoes
  let held = 0
  const at = new Map()
  for (let s = 0; s < seconds; s++) at.set(s * RATE, [])
  for (const [when, step] of steps) {
    const frame = Math.ceil((when * RATE) / 128) * 128
    at.set(frame, [...(at.get(frame) ?? []), step])
  }
  listener.load(id, { length })
  listener.setVolume(1)
  prepare(listener)
  listener.play()
  await settle(listener)
  for (const [frame, todo] of at) {
    void context.suspend(frame / RATE).then(async () => {
      for (const step of todo) await step(listener)
      await settle(listener)
      held = Math.max(held, listener.feed.held.size)
      await context.resume()
    })
  }
  const buffer = await context.startRendering()
  const out = { left: buffer.getChannelData(0), right: buffer.getChannelData(1), held, listener }
  listener.close()
  return out
}

/** By how many samples b follows a, from the largest product sum. */
function lag(a, b) {
  let best = 0, at = 0
  for (let d = -400; d <= 400; d++) {
    let sum = 0
    for (let k = 500; k < 20_000; k++) sum += a[k] * b[k + d]
    if (sum > best) best = sum, at = d
  }
  return at
}

export async function aligned(minutes) {
  const { left, right, held } = await rendered({ id: 'apart', seconds: minutes * 60, prepare: (l) => l.setMode('split') })
  let wrong = 0
  const from = 4000 // faded in by then
  for (let k = from; k < left.length; k++) {
    if (left[k] !== Math.fround(sounds.apart.body(k)) || right[k] !== Math.fround(sounds.apart.scratch(k))) wrong++
  }
  const end = left.length - RATE
  return { wrong, frames: left.length - from, first: lag(left.subarray(from, from + RATE), right.subarray(from, from + RATE)), last: lag(left.subarray(end), right.subarray(end)), held }
}

/**
 * The step that flips make beyond what the signal does by itself: below the safety net the player
 * is linear, so a constant in one microphone alone shows that microphone's gain g at every frame;
 * the step at n is y[n] - sum of g[n-1] x[n] (as in listen-player.test.js).
 */
export async function flips(id) {
  const rand = random(11)
  const moments = Array.from({ length: 50 }, () => 1 + 8.5 * (rand() + 1)).sort((a, b) => a - b)
  const run = async (take, cut) => {
    const flip = (l) => {
      l.setMode('flip')
      if (cut) l.weigh(0)
    }
    return rendered({ id: take, seconds: 20, prepare: (l) => l.setMode('body'), steps: moments.map((t) => [t, flip]) })
  }
  const most = {}
  let above = 0
  for (const cut of [false, true]) {
    const y = await run(id, cut), gb = await run('bodyOnly', cut), gs = await run('scratchOnly', cut)
    let step = 0
    for (let n = 4000; n < y.left.length; n++) {
      const held = 2 * gb.left[n - 1] * sounds[id].body(n) + 2 * gs.left[n - 1] * sounds[id].scratch(n)
      step = Math.max(step, Math.abs(y.left[n] - held))
    }
    most[cut] = dB(step)
    if (!cut) above = dB(largestAbove(y.left, 3000))
  }
  return { step: most.false, cut: most.true, above }
}

/** What is heard, left then right, as base64 of float32. */
export async function heard(id, mode, volume, seconds) {
  const { left, right } = await rendered({ id, seconds, prepare: (l) => { l.setMode(mode); l.setVolume(volume) }, steps: [[0, () => nap(100)]] })
  const all = new Float32Array(2 * left.length)
  all.set(left)
  all.set(right, left.length)
  const url = await new Promise((resolve) => {
    const reader = new FileReader()
    reader.onload = () => resolve(reader.result)
    reader.readAsDataURL(new Blob([all]))
  })
  return url.slice(url.indexOf(',') + 1)
}

export async function looping() {
  const from = 2.345, to = 3.4567
  const a = Math.round(from * RATE), b = Math.round(to * RATE)
  const prepare = (l) => { l.setMode('body'); l.loop(from, to) }
  const { left } = await rendered({ id: 'sine', seconds: 12, length: 30, prepare })
  let wrong = 0, joins = 0
  for (let i = 4000; i < left.length; i++) {
    const k = i % (b - a)
    if (k === 0) joins++
    if (k > 3300 && left[i] !== Math.fround(sounds.sine.body(a + k))) wrong++
  }
  // What a hard cut at the join would be, by the same measure.
  const hard = Float32Array.from({ length: 12 * RATE }, (_, i) => sounds.sine.body(a + (i % (b - a))))
  return { above: dB(largestAbove(left, 3000)), cut: dB(largestAbove(hard, 3000)), wrong, joins, length: b - a }
}

export async function late() {
  let more = false // the program holds back what comes after 5 s until then
  const { left } = await rendered({
    id: 'late', seconds: 12, length: 30,
    prepare: (l) => l.setMode('body'),
    steps: [[6, () => { more = true; return fetch('/go-on') }]],
    settle: async (l) => {
      while (!l.node || !l.feed.has(0, (more ? 10 : 4.9) * RATE)) {
        l.tend()
        await nap(5)
      }
      await nap(50) // what was said has arrived in the worklet
    },
  })
  const first = left.findIndex((y, i) => i > RATE && y === 0)
  const again = left.findIndex((y, i) => i > first && y !== 0)
  const silent = again - first - 1 // the last frame of a fade out is 0 as well
  // The sound turns over at 3 and 6 s of the take. A step of 1.94 is its own; where the second one
  // comes tells what was lost.
  const turns = []
  let step = 0
  for (let i = 1; i < left.length; i++) {
    const d = Math.abs(left[i] - left[i - 1])
    if (d > 1.9) turns.push(i)
    else step = Math.max(step, d)
  }
  return { step: dB(step), gap: silent / RATE, lost: 6 * RATE - (turns[1] - silent) }
}

export async function lines() {
  const { left } = await rendered({
    id: 'sine', seconds: 6, length: 30, prepare: (l) => l.setMode('body'),
    steps: [[2, (l) => l.setLine({ sound: 'other', line: { offset_s: 0.00025, drift_ppm: 0 } })]],
  })
  let wrong = 0
  for (let k = 2.5 * RATE; k < left.length; k++) if (left[k] !== Math.fround(sounds.sine.body(k + 12))) wrong++
  return { above: dB(largestAbove(left, 3000)), wrong }
}

/** Plays to the sound device for real, and holds what came out against the source. */
export async function live() {
  const told = [] // time told less time passed
  const listener = createListener({ api, onTime: (t) => told.push(1000 * t - performance.now()) })
  listener.echo = echoes
  listener.load('apart', { length: 60 })
  listener.setVolume(1)
  listener.setMode('split')
  await settled(listener)
  const context = listener.context
  await context.audioWorklet.addModule(new URL('./listen-recorder.js', import.meta.url))
  const recorder = new AudioWorkletNode(context, 'recorder', { numberOfOutputs: 0 })
  const left = [], right = []
  recorder.port.onmessage = ({ data: [, l, r] }) => { left.push(...l); right.push(...r) }
  listener.node.connect(recorder)
  listener.play()
  for (let i = 0; i < 60; i++) {
    const until = performance.now() + 60 // the page draws
    while (performance.now() < until);
    await nap(200)
  }
  await nap(300)
  const late = 1000 * (listener.clock.heard(context.currentTime * RATE) / RATE - listener.time())
  const sorted = told.slice(60).sort((a, b) => a - b)
  const middle = sorted[sorted.length >> 1]
  const jitter = sorted.map((x) => Math.abs(x - middle)).sort((a, b) => a - b)[Math.floor(sorted.length * 0.95)]
  const latency = 1000 * (context.outputLatency + context.baseLatency)
  const frames = left.length
  const first = left.findIndex((y) => y !== 0)
  let wrong = 0
  for (let i = first + 4000; i < frames; i++) {
    if (left[i] !== Math.fround(sounds.apart.body(i - first)) || right[i] !== Math.fround(sounds.apart.scratch(i - first))) wrong++
  }
  const seek = async (to) => {
    const begun = performance.now()
    listener.seek(to)
    while (!listener.clock.anchors.at(-1)?.moving) await nap(0)
    return performance.now() - begun
  }
  const held = await seek(listener.time() - 4)
  await nap(500)
  const away = await seek(45)
  listener.close()
  return { wrong, frames, seconds: frames / RATE, late, told: latency, jitter, n: sorted.length, held, away }
}

/** The number that a frame of the film carries. */
function numberOf(video) {
  const canvas = new OffscreenCanvas(512, 64)
  const pen = canvas.getContext('2d', { willReadFrequently: true })
  pen.drawImage(video, 0, 0)
  const { data } = pen.getImageData(0, 32, 512, 1)
  let n = 0
  for (let bit = 0; bit < 16; bit++) if (data[4 * (bit * 32 + 16)] > 128) n |= 1 << bit
  return n
}

export async function picture(fps) {
  const root = document.querySelector('main')
  const film = { id: 'film', picture: { fps, start_s: 0, type: 'video/mp4; codecs="avc1.64000c"' } }
  const picture = createPicture(root, { api })
  picture.load(film)
  while (picture.video.readyState < 2) await nap(10)
  const rand = random(3)
  let wrongFrames = 0
  const asked = 40
  for (let i = 0; i < asked; i++) {
    const frame = Math.floor((rand() + 1) * 0.5 * 59 * fps)
    const t = (frame + [0, 0.5, 0.999][i % 3]) / fps // a frame's first and last moment are its own
    picture.show(t)
    for (let k = 0; k < 100 && (k < 3 || picture.video.seeking); k++) await nap(10)
    await nap(30)
    if (numberOf(picture.video) !== frame) wrongFrames++
  }
  const listener = createListener({ api })
  listener.echo = echoes
  listener.load('apart', { length: 60 })
  picture.follow(listener)
  await settled(listener)
  const runs = {}
  const run = async (what, begin, seconds) => {
    await begin()
    const began = performance.now()
    let settled = NaN
    for (const until = began + 4000; performance.now() < until; ) {
      await nap(20)
      const off = Math.abs(picture.leftover.ms)
      if (picture.late.length < 5 || off > 500 / fps) settled = NaN
      else if (Number.isNaN(settled)) settled = (performance.now() - began) / 1000
    }
    picture.late = []
    picture.frames = 0
    await nap(seconds * 1000)
    runs[what] = { ...picture.leftover, settled }
  }
  await run('from a pause', () => listener.play(), 8)
  await run('after a seek', () => listener.seek(40.2), 5)
  await run('after a pause', async () => { listener.pause(); await nap(500); listener.play() }, 5)
  listener.loop(20, 26)
  await run('in a loop of 6 s', () => {}, 12)
  listener.close()
  picture.close()
  const other = createPicture(root, { api })
  other.load({ ...film, id: 'unplayable' })
  for (let i = 0; i < 200 && (other.source !== 'copy' || other.video.readyState < 2); i++) await nap(10)
  const copy = other.video.readyState >= 2 ? other.source : 'nothing'
  other.close()
  return { wrongFrames, asked, runs, copy }
}
