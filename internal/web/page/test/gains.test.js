import assert from 'node:assert/strict'
import test from 'node:test'
import { GLIDE, Glide, MOST, RATE, SHORTEST, STEP, bend, decibels, framesFor, gainOf, hearingOf, matched, matrix, rampFrames, reach } from '../listen/gains.js'

const modes = /** @type {const} */ (['both', 'split', 'body', 'scratch'])

test('no mode lets full scale come to more than full scale', () => {
  for (const mode of modes) assert.ok(reach(matrix(mode, { body: 1, scratch: 1 }, 1)) <= 1, mode)
})

test('each mode sends each microphone where it says', () => {
  const m = { body: 1, scratch: 0.5 }
  assert.deepEqual(matrix('both', m, 1), [0.5, 0.25, 0.5, 0.25])
  assert.deepEqual(matrix('split', m, 1), [1, 0, 0, 0.5])
  assert.deepEqual(matrix('body', m, 0.1), [0.1, 0, 0.1, 0])
  assert.deepEqual(matrix('scratch', m, 1), [0, 0.5, 0, 0.5])
})

test('the louder one is turned down to the other, and neither up', () => {
  for (const [body, scratch] of [[-16, -30], [-30, -16], [-20, -20]]) {
    const m = matched(body, scratch)
    assert.ok(Math.abs(body + decibels(m.body) - (scratch + decibels(m.scratch))) < 1e-9, `${body} ${scratch}`)
    assert.equal(Math.max(m.body, m.scratch), 1)
  }
  assert.ok(Math.abs(decibels(matched(-10, -70).body) + MOST) < 1e-9)
  for (const [body, scratch] of [[null, -20], [-20, null], [undefined, undefined], [NaN, -20]]) {
    assert.deepEqual(matched(body, scratch), { body: 1, scratch: 1 })
  }
})

test('a flip goes from the one to the other, and to the body first', () => {
  assert.equal(hearingOf('flip', 'both'), 'body')
  assert.equal(hearingOf('flip', 'body'), 'scratch')
  assert.equal(hearingOf('flip', 'scratch'), 'body')
  assert.equal(hearingOf('split', 'scratch'), 'split')
})

test('between any two modes full scale steps by no more than allowed', () => {
  for (const a of modes) for (const b of modes) for (const volume of [0.1, 1]) {
    const from = matrix(a, { body: 0.3, scratch: 1 }, volume), to = matrix(b, { body: 1, scratch: 1 }, volume)
    const glides = from.map((g) => new Glide(g))
    const frames = rampFrames(from, to)
    glides.forEach((g, i) => g.move(to[i], frames))
    for (let k = 0; k < frames; k++) {
      const [bl, sl, br, sr] = glides.map((g) => { const was = g.value; return Math.abs(g.next() - was) })
      assert.ok(Math.max(bl + sl, br + sr) <= STEP, `${a} to ${b}: ${bl + sl} ${br + sr}`)
    }
    assert.deepEqual(glides.map((g) => g.value), to)
    assert.ok(glides.every((g) => g.still))
  }
})

test('a quick change takes 25 ms, the largest 66 ms, and knowing more of the loudness 2 s', () => {
  assert.equal(framesFor(0.1), SHORTEST)
  assert.equal(SHORTEST / RATE, 0.025)
  assert.ok(framesFor(2) / RATE < 0.066)
  assert.equal(GLIDE / RATE, 2)
})

test('a change that is overtaken goes on from where it is', () => {
  const g = new Glide(0)
  g.move(1, 100)
  for (let k = 0; k < 50; k++) g.next()
  assert.ok(Math.abs(g.value - 0.5) < 1e-12)
  g.move(0, 100)
  assert.ok(Math.abs(g.next() - 0.5) < 0.001)
})

test('the safety net leaves what fits alone and bends the rest under full scale, without a corner', () => {
  for (const x of [0, 0.5, -0.97, 0.97]) assert.equal(bend(x), x)
  for (const x of [1, -1.5, 100]) assert.ok(Math.abs(bend(x)) <= 1 && Math.sign(bend(x)) === Math.sign(x))
  const slope = (bend(0.97 + 1e-6) - bend(0.97)) / 1e-6
  assert.ok(Math.abs(slope - 1) < 1e-3)
  assert.ok(Math.abs(decibels(gainOf(-20)) + 20) < 1e-12)
})
