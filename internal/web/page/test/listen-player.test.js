import assert from 'node:assert/strict'
import test from 'node:test'
import { BLOCK } from '../listen/buffer.js'
import { RATE, STEP, matrix, matched } from '../listen/gains.js'
import { QUANTUM, block, dB, largestAbove, largestStep, noiseAt, random, rig, sine } from './listen-rig.mjs'

const FULL = 0.97 // up to there nothing is bent
const even = { body: 1, scratch: 1 }
const gains = (/** @type {import('../listen/gains.js').Hearing} */ mode, volume = 1, match = even) => ({ do: /** @type {const} */ ('gains'), matrix: matrix(mode, match, volume) })

/** Steps of a fade are rounded to float32. */
const ALLOWED = STEP * 1.001

test('what is played is what was fetched, each microphone to its ear, to the last bit', () => {
  const body = (/** @type {number} */ k) => 0.9 * noiseAt(1, k), scratch = (/** @type {number} */ k) => 0.9 * noiseAt(2, k)
  const { player, run } = rig({ body, scratch })
  player.tell(gains('split'))
  player.tell({ do: 'seek', frame: 12345, serial: 2 })
  player.tell({ do: 'play' })
  const fade = 1571
  run(fade)
  const { left, right } = run(48000)
  for (let i = 0; i < left.length; i++) {
    const k = 12345 + fade + i
    assert.ok(left[i] === Math.fround(body(k)) && right[i] === Math.fround(scratch(k)), `frame ${k}`)
  }
})

test('after ten minutes both are still where they were, to the sample', () => {
  // A click a second in the body mic, and one 137 frames later in the scratch sound; blocks come
  // and go as they do while playing.
  const end = 601 * RATE
  const at = (/** @type {number} */ late) => (/** @type {number} */ k) => ((k - late) % RATE === 1000 ? 0.5 : 0)
  const { player, give, run } = rig({ body: at(0), scratch: at(137), end, held: (i) => i < 20 })
  player.tell(gains('split'))
  player.tell({ do: 'play' })
  let next = 20, last = [NaN, NaN], found = 0
  for (let second = 0; second < 600; second++) {
    const { left, right } = run(RATE, (frame) => {
      for (; next * BLOCK < frame + 8 * BLOCK && next * BLOCK < end; next++) {
        give(next)
        player.tell({ do: 'drop', lay: 1, indices: [next - 16] })
      }
    })
    if (second === 0) continue // fades in
    last = [left.indexOf(0.5), right.indexOf(0.5)]
    assert.deepEqual(last, [1000, 1137], `second ${second}`)
    found++
  }
  assert.equal(found, 599)
  assert.ok(player.store.blocks.size < 40, 'memory is bounded')
})

/**
 * The largest step that the gains make of a sound while modes change, found from outside: the
 * player is linear below its safety net, so run on a constant in one microphone and silence in the
 * other it shows that microphone's gain g at every frame. What the output is more than the sounds
 * of this frame at the gains of the frame before is the step: y[n] - Σ g[n-1] x[n].
 * @param {{body: (k: number) => number, scratch: (k: number) => number}} sounds
 * @param {(player: import('../listen/player.js').Player, at: number) => void} script
 */
function steps({ body, scratch }, script) {
  const frames = 20 * RATE
  const heard = (/** @type {(k: number) => number} */ b, /** @type {(k: number) => number} */ s) => {
    const { player, run } = rig({ body: b, scratch: s, end: 30 * RATE })
    player.tell(gains('body'))
    player.tell({ do: 'play' })
    return run(frames, (at) => script(player, at))
  }
  const one = () => 0.5, none = () => 0
  const gb = heard(one, none), gs = heard(none, one), y = heard(body, scratch)
  let most = 0
  for (const ear of /** @type {const} */ (['left', 'right'])) {
    for (let n = 3000; n < frames; n++) { // from when it has faded in
      const held = (gb[ear][n - 1] / 0.5) * body(n) + (gs[ear][n - 1] / 0.5) * scratch(n)
      most = Math.max(most, Math.abs(y[ear][n] - held))
    }
  }
  return { most, y }
}

/** Fifty moments, at least 0.1 s apart or not, as they fall. */
function flips(seed = 5) {
  const rand = random(seed)
  const at = Array.from({ length: 50 }, () => Math.floor((0.1 + 0.45 * (rand() + 1)) * 19 * RATE)).sort((a, b) => a - b)
  let next = 0, now = 0
  return (/** @type {number} */ frame, /** @type {(mode: 'body' | 'scratch') => void} */ flip) => {
    for (; next < at.length && at[next] <= frame; next++) flip((now = 1 - now) ? 'scratch' : 'body')
  }
}

for (const [name, sounds] of Object.entries({
  'a sine of 997 Hz against its opposite': { body: sine(997, FULL), scratch: sine(997, -FULL) },
  'two noises at full scale': { body: (/** @type {number} */ k) => FULL * noiseAt(3, k), scratch: (/** @type {number} */ k) => FULL * noiseAt(4, k) },
})) {
  test(`50 flips between ${name} step by less than −60 dB of full scale`, (t) => {
    const due = flips()
    let moments = due
    const { most } = steps(sounds, (player, at) => {
      if (at === 0) moments = flips()
      moments(at, (mode) => player.tell(gains(mode)))
    })
    t.diagnostic(`${dB(most).toFixed(2)} dBFS`)
    assert.ok(most <= ALLOWED && most > STEP / 10, `${dB(most)} dBFS`)

    let hard = flips()
    const cut = steps(sounds, (player, at) => {
      if (at === 0) hard = flips()
      hard(at, (mode) => player.tell({ ...gains(mode), frames: 0 }))
    })
    assert.ok(dB(cut.most) > -10, `a hard cut is seen by the same measure: ${dB(cut.most)} dBFS`)
  })
}

test('50 flips of a 997 Hz sine leave nothing above 3 kHz', (t) => {
  for (const hard of [false, true]) {
    const { player, run } = rig({ body: sine(997, FULL), scratch: sine(997, -FULL), end: 30 * RATE })
    player.tell(gains('body'))
    player.tell({ do: 'play' })
    const due = flips(6)
    const { left } = run(20 * RATE, (at) => due(at, (mode) => player.tell(hard ? { ...gains(mode), frames: 0 } : gains(mode))))
    const most = dB(largestAbove(left, 3000))
    t.diagnostic(`${hard ? 'cut' : 'ramped'}: ${most.toFixed(1)} dBFS`)
    assert.ok(hard ? most > -20 : most < -60)
  }
})

/** Full scale that turns over every now and then: whatever is gone between, it is the worst. */
const turning = (/** @type {number} */ k) => (Math.floor(k / (3 * RATE)) % 2 ? FULL : -FULL)

test('seeks, as many as can be, never step', (t) => {
  const rand = random(7)
  const { player, run } = rig({ body: turning, end: 30 * RATE })
  player.tell(gains('both'))
  player.tell({ do: 'play' })
  const { left } = run(30 * RATE, (at) => {
    if (at < RATE || rand() < 0.9) return
    // Into the middle of a stretch, where a fade does not meet its turning.
    player.tell({ do: 'seek', frame: Math.floor((rand() + 1) * 4.99) * 3 * RATE + RATE, serial: at })
  })
  t.diagnostic(`${dB(largestStep(left)).toFixed(1)} dBFS`)
  assert.ok(largestStep(left) <= ALLOWED)
  assert.ok(left.some((y) => y > 0.9 * FULL) && left.some((y) => y < -0.9 * FULL), 'it went back and forth')
})

test('a single seek, a pause, going on, the end: less than −60 dB', () => {
  const { player, reports, run } = rig({ body: turning, end: 9 * RATE })
  player.tell(gains('body'))
  player.tell({ do: 'play' })
  const { left } = run(12 * RATE, (at) => {
    if (at === 375 * QUANTUM) player.tell({ do: 'seek', frame: 4 * RATE, serial: 2 })
    if (at === 750 * QUANTUM) player.tell({ do: 'pause' })
    if (at === 1125 * QUANTUM) player.tell({ do: 'play' })
    if (at === 1400 * QUANTUM) player.tell({ do: 'seek', frame: 7 * RATE, serial: 3 })
  })
  assert.ok(largestStep(left) <= ALLOWED, `${dB(largestStep(left))} dBFS`)
  const paused = reports.find((r) => r.at >= 760 * QUANTUM)
  assert.deepEqual([paused?.moving, paused?.pos], [false, 4 * RATE + 375 * QUANTUM])
  const end = reports.find((r) => r.ended)
  assert.equal(end?.pos, 9 * RATE)
  assert.equal(left.at(-1), 0)
  assert.ok(Math.abs(left[1400 * QUANTUM + 2 * RATE - 2000] - -FULL) < 1e-6, 'heard until just before the end')
})

test('a seek asked for in the last moment still goes', () => {
  const { player, reports, run } = rig({ body: turning, end: 9 * RATE })
  player.tell(gains('body'))
  player.tell({ do: 'seek', frame: 9 * RATE - 2000, serial: 2 })
  player.tell({ do: 'play' })
  const { left } = run(2 * RATE, (at) => {
    if (at === 3 * QUANTUM) player.tell({ do: 'seek', frame: RATE, serial: 3 })
  })
  assert.ok(largestStep(left) <= ALLOWED, `${dB(largestStep(left))} dBFS`)
  assert.ok(!reports.some((r) => r.ended))
  assert.equal(left.at(-1), Math.fround(turning(2 * RATE)))
})

test('a loop comes round to the frame, and its join does not click', (t) => {
  const from = 48_100, to = 48_100 + 37_777
  for (const hard of [false, true]) {
    const { player, run, reports } = rig({ body: sine(997, FULL) })
    player.tell(gains('body'))
    player.tell({ do: 'loop', loop: { from, to } })
    player.tell({ do: 'seek', frame: from, serial: 2 })
    if (hard) player.joinOf = () => 1
    player.tell({ do: 'play' })
    const { left } = run(10 * RATE)
    const most = dB(largestAbove(left, 3000))
    t.diagnostic(`${hard ? 'cut' : 'faded'}: ${most.toFixed(1)} dBFS above 3 kHz`)
    assert.ok(hard ? most > -40 : most < -60, `${most} dBFS`)
    const joins = reports.filter((r) => r.pos === from && r.moving)
    assert.deepEqual(joins.map((r) => r.at), joins.map((_, i) => i * (to - from)), 'each join is a loop after the last')
    assert.equal(joins.length, 13)
    const x = sine(997, FULL)
    for (let i = 4000; i < left.length; i++) {
      const k = i % (to - from)
      if (k > 3142) assert.equal(left[i], Math.fround(x(from + k)), `frame ${i}`)
    }
  }
})

test('a loop can be set and lifted while it plays', () => {
  const { player, run, reports } = rig({ body: sine(200, 0.5) })
  player.tell(gains('body', 0.1))
  player.tell({ do: 'play' })
  run(RATE)
  player.tell({ do: 'loop', loop: { from: RATE / 2, to: 2 * RATE } })
  run(1.25 * RATE)
  player.tell({ do: 'echo', serial: 7 })
  assert.deepEqual([reports.at(-1)?.pos, reports.at(-1)?.echo], [0.75 * RATE, 7])
  player.tell({ do: 'loop', loop: null })
  run(2 * RATE)
  player.tell({ do: 'echo', serial: 8 })
  assert.equal(reports.at(-1)?.pos, 2.75 * RATE)
})

test('another line of the same sound cannot be heard; another sound crossfades', () => {
  const x = sine(440, 0.9)
  for (const other of [1, -1]) {
    const { player, run, give } = rig({ body: x })
    player.tell(gains('body'))
    player.tell({ do: 'play' })
    const { left } = run(4 * RATE, (at) => {
      if (at !== 750 * QUANTUM) return
      player.tell({ do: 'open', lay: 2, end: 20 * RATE })
      for (let i = 20; i < 60; i++) player.tell({ do: 'block', lay: 2, index: i, data: block(i, (k) => other * x(k), () => 0) })
      player.tell({ do: 'use', lay: 2 })
    })
    assert.equal(player.stores.size, 1, 'the old one is let go')
    give(30, 1) // comes too late, for a laying that is no more
    for (let i = 2000; i < left.length; i++) {
      if (i > 750 * QUANTUM && i < 750 * QUANTUM + 3200 && other < 0) continue
      const want = x(i) * (i < 750 * QUANTUM ? 1 : other)
      assert.ok(Math.abs(left[i] - want) < 1e-6, `frame ${i}: ${left[i]}, want ${want}`)
    }
    assert.ok(dB(largestAbove(left, 3000)) < -60)
  }
})

test('where sound is late it fades out before, waits, and goes on where it was', (t) => {
  const { player, run, reports, give } = rig({ body: () => FULL, held: (i) => i < 20 || i >= 24 })
  player.tell(gains('body'))
  player.tell({ do: 'play' })
  const { left } = run(6 * RATE, (at) => {
    if (at === 1500 * QUANTUM) [20, 21, 22, 23].forEach((i) => give(i))
  })
  t.diagnostic(`${dB(largestStep(left)).toFixed(1)} dBFS`)
  assert.ok(largestStep(left) <= ALLOWED)
  const waits = reports.filter((r) => r.waiting && r.at > RATE)
  const goes = reports.find((r) => r.moving && r.at >= 1500 * QUANTUM)
  assert.ok(waits.length > 0 && waits.every((r) => r.pos <= 20 * BLOCK && r.pos > 20 * BLOCK - 2 * QUANTUM), 'all there was is heard')
  assert.equal(goes?.pos, waits[0].pos, 'nothing is left out')
  assert.equal(left[1499 * QUANTUM], 0)
})

test('a quarter of a second must be there before it goes on', () => {
  const { player, run, reports, give } = rig({ body: () => 0.5, held: (i) => i < 20 })
  player.tell(gains('body'))
  player.tell({ do: 'play' })
  run(3 * RATE)
  give(20)
  run(RATE)
  assert.ok(reports.at(-1)?.waiting)
  ;[21, 22, 23].forEach((i) => give(i))
  run(QUANTUM * 2)
  assert.ok(reports.some((r) => r.moving && r.at > 4 * RATE - QUANTUM))
})

test('blocks let go while they fade out are kept until they have', () => {
  const { player, run } = rig({ body: turning, end: 30 * RATE })
  player.tell(gains('body'))
  player.tell({ do: 'play' })
  const { left } = run(2 * RATE, (at) => {
    if (at !== 375 * QUANTUM) return
    player.tell({ do: 'seek', frame: 4 * RATE, serial: 2 })
    player.tell({ do: 'drop', lay: 1, indices: [10, 11, 12, 13, 14] })
  })
  assert.ok(largestStep(left) <= ALLOWED, `${dB(largestStep(left))} dBFS`)
  assert.ok(!player.store.blocks.has(11))
})

test('loudness that is known while nothing sounds holds at once, later it glides', () => {
  const { player, run } = rig({ body: () => 0.5 })
  player.tell(gains('body'))
  player.tell({ do: 'play' })
  run(RATE)
  player.tell({ ...gains('body', 1, matched(-10, -30)), frames: 2 * RATE })
  const { left } = run(3 * RATE)
  assert.ok(Math.abs(left[RATE] - 0.5 * (1 + 0.1) / 2) < 0.001)
  assert.ok(Math.abs(left[2 * RATE] - 0.05) < 1e-6)
  player.tell({ do: 'pause' })
  run(RATE)
  player.tell(gains('body', 0.5))
  assert.equal(player.gains[0].value, 0.5)
})
