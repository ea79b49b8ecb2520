import assert from 'node:assert/strict'
import test from 'node:test'
import { middleOfFrame, pace } from '../take/picture.js'

test('a moment shows the frame it is in, from its first sample to its last', () => {
  for (const [n, d] of [[24, 1], [25, 1], [30000, 1001], [60000, 1001], [120, 1]]) {
    const length = d / n
    for (const frame of [0, 1, 17, 1799, 107_892]) {
      const middle = (frame + 0.5) * length
      for (const t of [Math.round(frame * length * 48000) / 48000, middle, (frame + 1) * length - 2.1 / 48000]) {
        assert.ok(Math.abs(middleOfFrame(t, 0, length) - middle) < 1e-6, `${n}/${d}, frame ${frame}, ${t}`)
      }
    }
  }
  assert.equal(middleOfFrame(-3, 0, 0.04), 0.02)
  assert.ok(Math.abs(middleOfFrame(0, 0.5, 0.04) - 0.52) < 1e-12, 'before the first frame shows, the first')
  assert.equal(middleOfFrame(1.23, 0, 0), 1.23, 'a rate that is not known')
})

test('the picture runs faster while it is late, slower while it is early, and within bounds', () => {
  assert.equal(pace(0.013, 0.04, 1), 1)
  assert.equal(pace(0.008, 1 / 60, 1), 1) // a screen shows no finer
  assert.equal(pace(0.004, 0.04, 1.02), 1)
  assert.ok(Math.abs(pace(0.01, 0.04, 1.03) - 1.02) < 1e-9)
  assert.ok(Math.abs(pace(-0.015, 0.04, 1) - 0.97) < 1e-9)
  assert.ok(pace(3, 0.04, 1) === 1.5 && pace(-3, 0.04, 1) === 0.5)
})
