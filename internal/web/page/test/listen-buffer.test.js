import assert from 'node:assert/strict'
import test from 'node:test'
import { AHEAD, BEHIND, BLOCK, Clock, Store, course, firstMissing, worthKeeping } from '../listen/buffer.js'
import { block } from './listen-rig.mjs'

const ramp = (/** @type {number} */ k) => k / 1e6

test('a store reads across blocks, and silence where there is nothing', () => {
  const store = new Store(3 * BLOCK - 10)
  store.put(0, block(0, ramp, (k) => -ramp(k)))
  store.put(2, block(2, ramp, (k) => -ramp(k)))
  const n = 4 * BLOCK
  const body = new Float32Array(n), scratch = new Float32Array(n)
  store.read(-100, n, body, scratch)
  for (const i of [0, 99, 100, 101, 100 + BLOCK - 1, 100 + BLOCK, 100 + 2 * BLOCK, 100 + 3 * BLOCK - 11, 100 + 3 * BLOCK - 10, n - 1]) {
    const at = i - 100
    const there = at >= 0 && at < 3 * BLOCK - 10 && Math.floor(at / BLOCK) !== 1
    assert.equal(body[i], there ? Math.fround(ramp(at)) : 0, `body at ${at}`)
    assert.equal(scratch[i], there ? Math.fround(-ramp(at)) : 0, `scratch at ${at}`)
  }
})

test('a store knows what it has', () => {
  const store = new Store(3 * BLOCK)
  store.put(1, block(1, ramp, ramp))
  assert.ok(store.has(BLOCK, 2 * BLOCK))
  assert.ok(!store.has(BLOCK - 1, 2 * BLOCK))
  assert.ok(!store.has(BLOCK, 2 * BLOCK + 1))
  assert.ok(store.has(-50, 0) && store.has(3 * BLOCK, 9 * BLOCK), 'silence before and after')
  store.doom([1])
  assert.ok(store.has(BLOCK, 2 * BLOCK), 'it may still be fading out')
  store.clear()
  assert.ok(!store.has(BLOCK, 2 * BLOCK))
  store.doom([1])
  store.put(1, block(1, ramp, ramp))
  store.clear()
  assert.ok(store.has(BLOCK, 2 * BLOCK), 'fetched again since')
})

test('the course goes on to the end, or round the loop', () => {
  assert.deepEqual(course(100, null, 1000, 500, 10), [{ from: 100, to: 600 }])
  assert.deepEqual(course(800, null, 1000, 500, 10), [{ from: 800, to: 1000 }])
  const loop = { from: 200, to: 400 }
  assert.deepEqual(course(300, loop, 1000, 500, 10), [{ from: 300, to: 410 }, { from: 200, to: 410 }])
  assert.deepEqual(course(300, { from: 0, to: 900 }, 1000, 500, 10), [{ from: 300, to: 800 }])
  assert.deepEqual(course(500, loop, 1000, 200, 10), [{ from: 500, to: 700 }], 'beyond the loop')
})

test('what is missing first along a course', () => {
  const held = new Set([0, 1, 3])
  assert.equal(firstMissing([{ from: 10, to: 4 * BLOCK }], (i) => held.has(i)), 2)
  assert.equal(firstMissing([{ from: 10, to: 2 * BLOCK }], (i) => held.has(i)), -1)
  assert.equal(firstMissing([{ from: 3 * BLOCK, to: 4 * BLOCK }, { from: 0, to: 3 * BLOCK }], (i) => held.has(i)), 2)
})

test('no more is kept than a little behind and what comes', () => {
  const pos = 1000 * BLOCK
  const kept = Array.from({ length: 3000 }, (_, i) => i).filter((i) => worthKeeping(course(pos, null, 1e9, AHEAD, 0), i, BEHIND))
  assert.ok(kept.length * BLOCK <= AHEAD + BEHIND + 4 * BLOCK, `${kept.length} blocks`)
  assert.ok(kept.includes(1000) && kept.includes(Math.floor((pos - BEHIND) / BLOCK)) && kept.includes(Math.floor((pos + AHEAD - 1) / BLOCK)))
})

test('the clock tells what is heard, which is later than what is rendered', () => {
  const clock = new Clock(0)
  clock.set(0, 1)
  const add = (/** @type {number} */ at, /** @type {number} */ pos, /** @type {boolean} */ moving, serial = 1) => clock.add({ at, pos, moving, serial })
  add(1000, 0, true)
  add(2000, 1000, true)
  assert.equal(clock.anchors.length, 1, 'it runs on')
  assert.equal(clock.heard(1500.5), 500.5)
  assert.equal(clock.heard(900), 0, 'not yet heard')
  add(3000, 200, true) // a loop's join
  assert.equal(clock.heard(2999), 1999)
  assert.equal(clock.heard(3001), 201)
  add(4000, 1200, false) // a pause
  assert.equal(clock.heard(3500), 700)
  assert.equal(clock.heard(9000), 1200)
  clock.set(50_000, 2) // a seek
  add(4100, 1200, false, 1)
  assert.equal(clock.heard(4100), 50_000, 'reports of before it do not count')
  add(4200, 50_000, true, 2)
  assert.equal(clock.heard(4300), 50_100)
  assert.equal(clock.pos, 50_000)
})
