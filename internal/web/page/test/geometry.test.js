import { test } from 'node:test'
import assert from 'node:assert/strict'
import * as g from '../glass/geometry.js'

const near = (a, b, by, what) => assert.ok(Math.abs(a - b) <= by, `${what ?? ''} ${a}, want ${b}`)
const bounds = { from: 0, to: 3600, finest: 1 / 48000 / 40 }

test('a point goes to the glass and back', () => {
  const v = { start: 12.5, perPixel: 0.004, width: 900 }
  near(g.tOf(v, g.xOf(v, 13.7)), 13.7, 1e-12)
  assert.equal(g.xOf(v, 12.5), 0)
})

test('zooming keeps the moment under the pointer, from the whole take to single samples', () => {
  let v = g.fit(0, 3600, 1000)
  const t = g.tOf(v, 313)
  for (let i = 0; i < 200; i++) v = g.zoomAbout(v, 313, 1.1, bounds)
  near(g.xOf(v, t), 313, 1e-4)
  near(v.perPixel, bounds.finest, 1e-18)
  for (let i = 0; i < 400; i++) v = g.zoomAbout(v, 313, 1 / 1.1, bounds)
  assert.deepEqual(v, g.fit(0, 3600, 1000))
})

test('no view leaves the take', () => {
  let v = g.around(1800, 10, 1000, bounds)
  v = g.pan(v, -1e9, bounds)
  near(v.start, -5, 1e-9, 'left end') // half of the ten seconds on the glass
  v = g.pan(v, 1e9, bounds)
  near(g.endOf(v), 3600 + 5, 1e-6, 'right end')
  assert.ok(g.tOf(g.fit(0, 3600, 320), 8) === 0)
})

test('revealing moves no further than needed', () => {
  const v = { start: 100, perPixel: 0.01, width: 1000 }
  assert.equal(g.reveal(v, 105, 0.1, bounds), v)
  near(g.reveal(v, 110, 0.1, bounds).start, 101, 1e-9)
  near(g.reveal(v, 99, 0.1, bounds).start, 98, 1e-9)
})

test('the level is the coarsest that is no wider than a pixel', () => {
  for (const [perPixel, want] of [[0.0039, -1], [0.004, 0], [0.0159, 0], [0.016, 1], [3.6, 4], [4.096, 5], [1000, 6]]) {
    assert.equal(g.levelFor(perPixel), want, `${perPixel} s per pixel`)
  }
  assert.equal(g.binSeconds(0), 64 / 16000)
})

test('tiles reach no further than the recording', () => {
  assert.deepEqual(g.tileRange(-5, 10, 100, 32), { first: 0, last: 1 })
  assert.deepEqual(g.tileRange(30, 1000, 100, 32), { first: 0, last: 4 })
  assert.deepEqual(g.tileRange(200, 300, 100, 32), { first: 6, last: 6 })
})

/** Bins of a given list over two tiles, as the program sends them. */
function tilesOf(bins) {
  const tiles = new Map()
  bins.forEach(([lo, hi, rms], i) => {
    const at = Math.floor(i / g.BINS_PER_TILE)
    const size = Math.min(g.BINS_PER_TILE, bins.length - at * g.BINS_PER_TILE)
    if (!tiles.has(at)) tiles.set(at, new Int16Array(3 * size))
    tiles.get(at).set([lo, hi, rms], (i - at * g.BINS_PER_TILE) * 3)
  })
  return tiles
}

test('a column holds the lowest and highest of every bin it touches', () => {
  // Held against plain loops over the same numbers.
  const count = g.BINS_PER_TILE + 500
  const bins = Array.from({ length: count }, (_, i) => [-((i * 7919) % 32767), (i * 104729) % 32767, (i * 31) % 65536])
  const tiles = tilesOf(bins)
  const f = g.newFold()
  for (const [a, b] of [[0, 1], [10.25, 10.75], [10.5, 13.5], [8190.1, 8194.9], [8600, 9000], [-3, 2.5], [8691, 8800]]) {
    g.clear(f)
    assert.ok(g.foldBins(f, tiles, a, b, count))
    let lo = Infinity, hi = -Infinity, square = 0, weight = 0
    for (let i = 0; i < count; i++) {
      const share = Math.min(b, i + 1) - Math.max(a, i)
      if (share <= 0) continue
      lo = Math.min(lo, bins[i][0] / 32767)
      hi = Math.max(hi, bins[i][1] / 32767)
      square += share * (bins[i][2] / 32767) ** 2
      weight += share
    }
    near(f.lo, lo, 1e-9, `lowest of ${a} to ${b}`)
    near(f.hi, hi, 1e-9, `highest of ${a} to ${b}`)
    near(f.square / f.weight, square / weight, 1e-5, `mean square of ${a} to ${b}`)
  }
})

test('a missing tile is said, and what lies outside is nothing', () => {
  const tiles = tilesOf([[-1, 1, 1]])
  const f = g.newFold()
  assert.equal(g.foldBins(f, tiles, g.BINS_PER_TILE, g.BINS_PER_TILE + 1, 20000), false)
  assert.equal(g.foldBins(f, tiles, -9, -3, 20000), true)
  assert.equal(f.lo, Infinity)
  assert.equal(g.foldSamples(f, new Map(), 0, 3, 100), false)
})

test('columns of samples join', () => {
  const wave = Float32Array.from({ length: 1000 }, (_, i) => Math.sin(i / 9))
  const tiles = new Map([[0, wave]])
  const f = g.newFold(), after = g.newFold()
  for (let a = 0; a < 980; a += 7.3) {
    g.clear(f)
    g.clear(after)
    g.foldSamples(f, tiles, a, a + 7.3, 1000)
    g.foldSamples(after, tiles, a + 7.3, a + 14.6, 1000)
    assert.ok(f.lo <= after.hi && after.lo <= f.hi, `columns at ${a} part`)
    const inside = wave.slice(Math.ceil(a), Math.floor(a + 7.3) + 1)
    assert.ok(f.hi >= Math.max(...inside) && f.lo <= Math.min(...inside))
  }
})

test('between samples runs the band-limited wave', () => {
  for (const cycles of [0.01, 0.1, 0.25, 0.35]) { // per sample
    let worst = 0
    for (let x = 50; x < 60; x += 0.03) {
      const is = g.between((i) => Math.sin(2 * Math.PI * cycles * i), x)
      worst = Math.max(worst, Math.abs(is - Math.sin(2 * Math.PI * cycles * x)))
    }
    assert.ok(worst < 0.01, `${cycles}: off by ${worst}`)
  }
  assert.equal(g.between((i) => i, 7), 7)
})

test('land turns into wave without a step, and equal waves are reflections all the way', () => {
  assert.equal(g.waveness(0.002), 0)
  assert.equal(g.waveness(1), 0)
  assert.equal(g.waveness(0.0005), 1)
  let last = 0
  for (let p = 0.002; p > 0.0005; p *= 0.99) {
    const u = g.waveness(p)
    assert.ok(u >= last && u - last < 0.02)
    last = u
  }
  assert.equal(g.nearEnd(-1, 0), 0)
  assert.equal(g.farEnd(-1, 0.5, 0), 1)
  assert.equal(g.nearEnd(-1, 1), 0)
  assert.equal(g.farEnd(-1, 0.5, 1), 0.75)
  assert.equal(g.nearEnd(0, 1), 0.5)
  for (const u of [0, 0.3, 0.7, 1]) assert.ok(g.nearEnd(-0.4, u) <= g.farEnd(-0.4, -0.1, u), 'no column is turned over')
})
