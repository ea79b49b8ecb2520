import { test } from 'node:test'
import assert from 'node:assert/strict'
import { timeTicks, frameTicks, steps, timecode, fpsOf } from '../common/ticks.js'
import { clock } from '../common/words.js'

test('labels always have room, and small ticks divide the labelled ones', () => {
  for (let p = 1e-7; p < 30; p *= 1.3) {
    const ticks = timeTicks({ start: 123.4567, perPixel: p, width: 1000 }, 80)
    assert.ok(ticks.step >= 80 * p * 0.999999, `${p}: step ${ticks.step}`)
    assert.ok(ticks.step <= 80 * p * 6.1, `${p}: step ${ticks.step} is too wide`)
    const parts = ticks.step / ticks.minor
    assert.ok(Math.abs(parts - Math.round(parts)) < 1e-6 && parts >= 2, `${ticks.step} by ${ticks.minor}`)
    for (const t of ticks.at) assert.ok(t >= 123.4567 - 1e-6 && t <= 123.4567 + 1000 * p + 1e-6)
    assert.ok(ticks.at.length <= 13)
  }
  assert.deepEqual(steps(40), [60, 10])
  assert.deepEqual(steps(0.3), [0.5, 0.1])
})

test('labels of neighbouring ticks differ', () => {
  for (let p = 1e-7; p < 30; p *= 1.7) {
    const { at, decimals } = timeTicks({ start: 59.9, perPixel: p, width: 1000 }, 80)
    const labels = at.map((t) => clock(t, decimals))
    assert.equal(new Set(labels).size, labels.length, labels.join(' '))
  }
})

test('frame ticks lie on frames', () => {
  const fps = 30000 / 1001
  for (const p of [1e-5, 3e-4, 3e-3, 0.1]) {
    const { at } = frameTicks({ start: 10, perPixel: p, width: 1000 }, 90, fps, 0.02)
    for (const t of at) {
      const n = (t - 0.02) * fps
      assert.ok(Math.abs(n - Math.round(n)) < 1e-6, `${n}`)
    }
  }
})

test('timecode counts as SMPTE ST 12-1 says', () => {
  // Well-known corners of drop-frame counting: minute 1 begins with frame 2, minute 10 with frame 0
  // an hour is 107892 frames, a day 2589408.
  const at = (n) => timecode('00:00:00;00', n, 30000 / 1001)
  for (const [n, want] of [[0, '00:00:00;00'], [1799, '00:00:59;29'], [1800, '00:01:00;02'], [17981, '00:09:59;29'], [17982, '00:10:00;00'], [107892, '01:00:00;00'], [2589408, '00:00:00;00'], [-1, '23:59:59;29']]) {
    assert.equal(at(n), want, `frame ${n}`)
  }
  assert.equal(timecode('10:00:00:24', 1, 25), '10:00:01:00')
  assert.equal(timecode('00:00:59;59', 1, 60000 / 1001), '00:01:00;04')
  assert.equal(timecode('', 5, 25), '')
})

test('drop-frame timecode names every frame of a day once, in order', () => {
  let last = ''
  for (let n = 0; n < 40000; n++) {
    const tc = timecode('00:00:00;00', n, 30000 / 1001)
    assert.ok(tc > last, `${n}: ${tc} after ${last}`)
    last = tc
  }
})

test('rates', () => {
  assert.equal(fpsOf('30000/1001', 0), 30000 / 1001)
  assert.equal(fpsOf('25', 0), 25)
  assert.equal(fpsOf('', 24), 24)
})
