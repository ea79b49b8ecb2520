import { test } from 'node:test'
import assert from 'node:assert/strict'
import * as l from '../glass/lines.js'
import * as m from '../take/marks.js'
import * as mv from '../take/moves.js'

const near = (a, b, by, what) => assert.ok(Math.abs(a - b) <= by, `${what ?? ''} ${a}, want ${b}`)
const straight = [{ from_s: 2, to_s: 600, offset_s: 3.5, drift_ppm: 20 }]
const split = [
  { from_s: 0, to_s: 100, offset_s: 10, drift_ppm: 50 },
  { from_s: 100, to_s: 300, offset_s: 9.98, drift_ppm: 50 },
]

test('s = offset + (1 + drift) t, and back', () => {
  near(l.soundAt(straight, 500), 3.5 + 500 + 0.01, 1e-9)
  near(l.clipAt(straight, l.soundAt(straight, 123.4)), 123.4, 1e-9)
  near(l.soundAt(split, 99.9), 10 + 99.9 * 1.00005, 1e-9)
  near(l.soundAt(split, 100), 9.98 + 100 * 1.00005, 1e-9)
  assert.ok(Number.isNaN(l.soundAt([], 3)))
})

test('sound that was repeated is heard twice, sound that was lost never', () => {
  const again = l.soundAt(split, 99.99)
  near(l.clipAt(split, again, 90), 99.99, 1e-6)
  near(l.clipAt(split, again, 110), 100.01, 1e-6)
  const gap = [split[0], { ...split[1], offset_s: 11 }]
  assert.ok(Number.isNaN(l.clipAt(gap, l.soundAt(gap, 99.99) + 0.5)))
})

test('later is a smaller offset, and late is positive', () => {
  const w = { at_s: 50, sound_s: l.soundAt(straight, 50), error_ms: 0.1, heard: true }
  near(l.leftover(w, straight), 0, 1e-9)
  const moved = l.laidBy(straight, l.laterBy(straight[0], 2))
  near(l.leftover(w, moved), 2, 1e-6, 'the good sound is heard late by')
  near(l.laterThan(moved, straight, 50), 2, 1e-6)
  const all = l.laidBy(split, l.laterBy(split[0], -5))
  for (const t of [0, 99, 150]) near(l.laterThan(all, split, t), -5, 1e-6)
})

test('the worst place is a clear one, and figures are the nearest rank', () => {
  const windows = Array.from({ length: 40 }, (_, i) => ({
    at_s: i * 10 + 5, sound_s: l.soundAt(straight, i * 10 + 5) + (i === 7 ? 4e-3 : i * 1e-5), error_ms: 0.05, heard: i !== 30,
  }))
  windows[30].sound_s += 1
  assert.equal(l.worst(windows, straight), windows[7])
  const f = l.seamFigures(windows, straight)
  assert.equal(f.heard, 39)
  near(f.furthest, 4, 1e-6)
  near(f.within, 0.39, 1e-6) // ceil(0.95·39) = 38: the 38th in order, and window 30 is not among them
  assert.equal(l.worst([], straight), undefined)
  assert.equal(l.fineMost(windows, straight), 5)
})

test('splices and heights of the seam', () => {
  near(l.splices(split)[0].lost_ms, -20, 1e-6)
  const ear = { kind: 'ear', most: 200 }
  for (const ms of [0, 1, 5, 15, 45, 125]) near(l.seamHeight(-ms, ear), -l.seamHeight(ms, ear), 1e-12)
  assert.ok(l.seamHeight(1, ear) > 0.1 && l.seamHeight(45, ear) < 0.8)
  assert.equal(l.seamHeight(1e9, ear), 1)
  near(l.seamHeight(0.5, { kind: 'fine', most: 2 }), 0.25, 1e-12)
})

test('two marks come together', () => {
  const marks = { clip: 200, sound: l.soundAt(split, 200) + 0.007 }
  near(m.marksApart(marks, split), -7, 1e-6)
  const line = m.lineUp(marks, split)
  near(l.soundAt(l.laidBy(split, line), 200), marks.sound, 1e-9)
  near(line.offset_s, split[0].offset_s + 0.007, 1e-9)
  assert.equal(m.lineUp(m.noMarks(), split), null)
})

test('claps go round', () => {
  const claps = [{ clip_s: 5, sound_s: 8.5 }, { clip_s: 50, sound_s: 53.5 }]
  assert.equal(m.nextClap(claps, 5, 1), claps[1])
  assert.equal(m.nextClap(claps, 50, 1), claps[0])
  assert.equal(m.nextClap(claps, 5, -1), claps[1])
  assert.equal(m.nextClap([], 5, 1), undefined)
  assert.equal(m.nearestClap(claps, 30), claps[1])
  near(m.clapLaid({ clip_s: 50, sound_s: l.soundAt(straight, 50) + 0.003 }, straight).late_ms, 3, 1e-6)
  near(m.clapLaid({ clip_s: 50, sound_s: l.soundAt(straight, 50) + 0.003 }, straight).at_s, 50.003, 1e-6)
})

test('steps are what they say', () => {
  const of = { rate: 44100, fps: 25 }, line = { offset_s: 10, drift_ppm: 3 }
  near(mv.nudge(line, 'sample', 1, of).offset_s, 10 - 1 / 44100, 1e-12)
  near(mv.nudge(line, 'tenth', -2, of).offset_s, 10.0002, 1e-12)
  near(mv.nudge(line, 'frame', 1, of).offset_s, 9.96, 1e-12)
  assert.equal(mv.nudge(line, 'frame', 1, { rate: 44100, fps: 0 }), line)
})

test('typed places', () => {
  const of = { rate: 48000, fps: 25 }, now = { offset_s: 10, drift_ppm: 3 }
  for (const [typed, want] of [
    ['1:02.345', 62.345], ['62,345', 62.345], ['1:02:03.4567', 3723.4567], ['-0:01.25', -1.25], ['−3', -3], ['12 s', 12], ['.5', 0.5],
    ['+1 ms', 9.999], ['-2 frames', 10.08], ['3 samples earlier', 10 + 3 / 48000], ['0,1ms later', 9.9999], ['1 ms', 9.999],
  ]) {
    const got = mv.parseOffset(typed, now, of)
    assert.ok('line' in got, `${typed}: ${JSON.stringify(got)}`)
    near(got.line.offset_s, want, 1e-9, typed)
    assert.equal(got.line.drift_ppm, 3)
  }
  for (const typed of ['', 'later', '1:75', '1:75:00', '1e9', '--3', 'NaN', '+1 ms later', '1:2:3:4']) {
    assert.ok('why' in mv.parseOffset(typed, now, of), typed)
  }
  assert.ok('why' in mv.parseOffset('2 frames', now, { rate: 48000, fps: 0 }))
})

test('how far it was moved, in words', () => {
  assert.equal(mv.movedWords(1), '1.0 ms later than measured')
  assert.equal(mv.movedWords(-1000 / 48000), '0.02 ms earlier than measured')
  assert.equal(mv.movedWords(0), 'as measured')
})
