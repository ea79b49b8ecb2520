import { test } from 'node:test'
import assert from 'node:assert/strict'
import { BINS_PER_TILE, binSeconds } from '../glass/geometry.js'
import { fill, loudest, newColumns, wantRange } from '../glass/columns.js'
import { laterThan } from '../glass/lines.js'
import { wheelFactor, wheelPan } from '../glass/hands.js'
import { partsOf } from '../glass/mirror.js'
import { guess, soundsFor } from '../take/others.js'
import { clipSays, gapSays, known, placeSays, positionSays, seamSays, verdictSays } from '../take/saying.js'
import { fromClap, showing } from '../take/strip.js'
import { Tiles } from '../glass/tiles.js'

const near = (a, b, by, what) => assert.ok(Math.abs(a - b) <= by, `${what ?? ''} ${a}, want ${b}`)
const wheel = (more) => ({ deltaX: 0, deltaY: 0, deltaMode: 0, ctrlKey: false, shiftKey: false, ...more })

test('a wheel zooms up and down alike, and sideways or with Shift it pans', () => {
  near(wheelFactor(wheel({ deltaY: 53 })) * wheelFactor(wheel({ deltaY: -53 })), 1, 1e-12)
  assert.ok(wheelFactor(wheel({ deltaY: -53 })) > 1, 'away from the hand is closer')
  assert.ok(wheelFactor(wheel({ deltaY: -5, ctrlKey: true })) > wheelFactor(wheel({ deltaY: -5 })), 'a pinch comes in small steps')
  assert.equal(wheelPan(wheel({ deltaX: 7, deltaY: 3 })), 7)
  assert.equal(wheelPan(wheel({ deltaX: 3, deltaY: 7 })), 0)
  assert.equal(wheelPan(wheel({ deltaY: 7, shiftKey: true })), 7)
  assert.equal(wheelPan(wheel({ deltaY: 2, deltaMode: 1, shiftKey: true })), 32)
  assert.equal(wheelPan(wheel({ deltaX: 7, ctrlKey: true })), 0)
})

/** Shelves whose level-L bins are all as high as say(bin seconds from the beginning). */
function shelves(length, levels, say) {
  return (level) => {
    const tiles = new Map(), count = Math.ceil(length / binSeconds(Math.max(0, level)))
    if (levels.includes(level)) {
      for (let i = 0; i < count; i++) {
        const at = Math.floor(i / BINS_PER_TILE)
        if (!tiles.has(at)) tiles.set(at, new Int16Array(3 * Math.min(BINS_PER_TILE, count - at * BINS_PER_TILE)))
        const v = Math.round(say(i * binSeconds(level)) * 32767)
        tiles.get(at).set([-v, v, v / 2], 3 * (i - at * BINS_PER_TILE))
      }
    }
    return { tiles, count }
  }
}

test('the body stands where its line lays it, span by span', () => {
  const source = { id: 's', track: 0, rate: 48000, length: 400 }
  const shelf = shelves(400, [2], (s) => (s >= 150 && s < 151 ? 1 : 0.1))
  const spans = [{ from_s: 0, to_s: 60, offset_s: 100, drift_ppm: 0 }, { from_s: 60, to_s: 200, offset_s: 80, drift_ppm: 0 }]
  const view = { start: 0, perPixel: 0.2, width: 1000 }
  const c = newColumns(1000)
  fill(c, view, shelf, source, spans, { from: 0, to: 200 })
  const loud = [...c.hi].flatMap((v, i) => (v > 0.5 ? [i * 0.2] : []))
  near(loud[0], 50, 0.21, 'first') // 150 s in the sound: 50 s along the first line,
  near(loud.find((t) => t > 60), 70, 0.21, 'second') // and 70 s along the other
  assert.equal(loud.filter((t) => t < 60).length, 6)
  assert.ok(c.exact)
  near(loudest(c), 1, 1e-6)
})

test('a coarser level stands in, and where the sound ends there is nothing', () => {
  const source = { id: 's', track: 0, rate: 48000, length: 100 }
  const c = newColumns(500)
  fill(c, { start: 0, perPixel: 0.4, width: 500 }, shelves(100, [4], () => 0.5), source, null, { from: 0, to: 200 })
  assert.equal(c.exact, false)
  assert.equal(c.seen[200], 1)
  assert.equal(c.seen[251], 0)
  fill(c, { start: 0, perPixel: 0.4, width: 500 }, shelves(100, [], () => 0.5), source, null, { from: 0, to: 200 })
  assert.ok(c.seen.every((v) => v === 0))
})

test('parts of a view', () => {
  const spans = [{ from_s: 0, to_s: 60, offset_s: 100, drift_ppm: 0 }, { from_s: 60, to_s: 200, offset_s: 80, drift_ppm: 0 }]
  const parts = partsOf({ start: 50, perPixel: 0.1, width: 200 }, spans, { from: 0, to: 65 })
  assert.deepEqual(parts.map((p) => [p.from, p.to, p.span.offset_s]), [[50, 60, 100], [60, 65, 80]])
  assert.deepEqual(partsOf({ start: 70, perPixel: 0.1, width: 200 }, spans, { from: 0, to: 65 }), [])
})

/** A program that answers each tile when it is told to. */
function program() {
  const asked = []
  const get = (url, { signal }) => new Promise((resolve, reject) => {
    signal.addEventListener('abort', () => reject(new DOMException('', 'AbortError')))
    asked.push({ url, signal, answer: (bytes, status = 200) => resolve(new Response(status === 200 ? new ArrayBuffer(bytes) : '{"error": "no"}', { status, headers: { 'Earshot-Bins': '100000' } })) })
  })
  return { asked, get }
}
/** Lets what is under way go on until something holds. */
const until = async (holds) => { while (!holds()) await new Promise((r) => setImmediate(r)) }

test('tiles: nearest first, few at once, what is no longer wanted gives way, and memory is bounded', async () => {
  const { asked, get } = program()
  let came = 0
  const tiles = new Tiles({ onTile: () => came++, onTrouble: () => {}, limit: 100000, fetch: get })
  const shelf = tiles.peaks('a', 0, 0, 400)
  const wants = [], ahead = []
  wantRange(wants, ahead, shelf, 100, 180, 400)
  assert.deepEqual(wants.map((w) => w.index), [4, 3, 5])
  assert.deepEqual(ahead.map((w) => w.index), [2, 6])
  tiles.want(wants)
  assert.equal(asked.length, 2)
  assert.match(asked[0].url, /from=32768&n=8192/)
  tiles.want([{ shelf, index: 0 }])
  assert.ok(asked[0].signal.aborted, 'the first gave way')
  assert.match(asked[2].url, /from=0&n=8192/)
  asked[2].answer(49152)
  await until(() => came > 0)
  assert.equal(came, 1)
  assert.equal(shelf.tiles.size, 1)
  for (const index of [1, 2]) {
    tiles.want([{ shelf, index }])
    asked.at(-1).answer(49152)
    await until(() => shelf.tiles.has(index))
  }
  assert.deepEqual([...shelf.tiles.keys()], [1, 2], 'the oldest is gone')
  assert.ok(tiles.bytes <= 100000)
  tiles.close()
})

test('tiles: what failed is asked for again later, and said the second time', async () => {
  const { asked, get } = program()
  const said = []
  const tiles = new Tiles({ onTile: () => {}, onTrouble: (why) => said.push(why), fetch: get })
  const shelf = tiles.samples('a', 0, 48000, 10)
  tiles.want([{ shelf, index: 0 }])
  asked[0].answer(0, 500)
  await until(() => tiles.failed.size > 0)
  tiles.want([{ shelf, index: 0 }])
  assert.equal(asked.length, 1, 'not at once')
  tiles.failed.forEach((f) => (f.until = 0))
  tiles.want([{ shelf, index: 0 }])
  asked[1].answer(0, 500)
  await until(() => said.length > 0)
  assert.deepEqual(said, ['no'])
  tiles.close()
})

test('the strip says which frame shows and how far the clap is', () => {
  const frames = [0, 1, 2, 3].map((k) => ({ at_s: k / 25, until_s: (k + 1) / 25 }))
  assert.equal(showing(frames, 0.0799), 1)
  assert.equal(showing(frames, 0.08), 2)
  assert.equal(showing(frames, 9), -1)
  assert.equal(fromClap(frames, 2, 0.09), 'the clap, 10.0 ms into it')
  assert.equal(fromClap(frames, 0, 0.09), '2 frames, 90.0 ms before the clap')
  assert.equal(fromClap(frames, 3, 0.09), '1 frame, 30.0 ms after the clap')
})

test('sounds to pair by hand: by name, nearest in the day first', () => {
  const r = (id, kind, day_s, name) => ({ id, kind, state: 'read', day_s, length_s: 100, name })
  const clip = r('c', 'clip', 1000, 'C1.MP4')
  const all = [r('far', 'sound', 9000, 'rec 2.wav'), r('none', 'sound', null, 'a note.m4a'), clip, r('near', 'sound', 1050, 'rec 10.wav')]
  assert.deepEqual(soundsFor(all, clip, '').map((s) => s.id), ['near', 'far', 'none'])
  assert.deepEqual(soundsFor(all, clip, 'REC 2').map((s) => s.id), ['far'])
  assert.deepEqual(guess(clip, all[3]), { offset_s: -50, drift_ppm: 0 })
  assert.deepEqual(guess(clip, all[1]), { offset_s: 0, drift_ppm: 0 })
})

test('a clip that is no take says why', () => {
  assert.equal(clipSays({ state: 'failed', error: 'read clip "a": cut short' }), 'Read clip "a": cut short.')
  assert.equal(clipSays({ state: 'reading' }), 'It is still being read.')
  assert.equal(clipSays({ state: 'read', alone: ['no sound heard the same moment'] }), 'Alone. No sound heard the same moment.')
})

test('until its detail is here a take lies where the state says', () => {
  const t = { verdict: 'sure', line: { offset_s: 10, drift_ppm: 3 }, moved_ms: 2, from_s: 1, to_s: 9 }
  assert.deepEqual(known(t).laid, [{ from_s: 1, to_s: 9, offset_s: 10, drift_ppm: 3 }])
  near(laterThan(known(t).laid, known(t).measured, 5), 2, 1e-9)
  assert.deepEqual(known({ ...t, verdict: 'hand' }).measured, [])
})

test('what is known, in sentences', () => {
  const laid = [{ from_s: 0, to_s: 600, offset_s: 62.3456, drift_ppm: -20 }]
  const take = { verdict: 'unsure', chance_of_error: 0.23, moved_ms: 1, from_s: 4, to_s: 600, why: [], word: {} }
  const detail = { take, measured: laid, drift_sigma: 0.4, sigma_ms: 0.02, inverted: true }
  assert.equal(verdictSays(take), 'Unsure. The chance that this is the wrong place is 23 %.')
  const lines = placeSays(detail, laid, 'rec.wav')
  assert.equal(lines[0], 'The clip begins at 1:02.3456 of rec.wav, 1.0 ms later than measured.')
  assert.match(lines[1], /20\.0 ppm slower than the camera's, give or take 0\.4; unmended that would come to 11\.9 ms/)
  assert.match(lines[2], /upside down/)
  assert.match(placeSays({ ...detail, drift_sigma: null }, laid, 'r')[1], /too short to tell/)
  assert.equal(gapSays(take, 650), "There is no good sound before 0:04.0 and from 10:00.0 on: the camera's own is heard there.")
  assert.equal(gapSays({ ...take, from_s: 0 }, 600), '')
  const windows = [{ at_s: 10, sound_s: 62.3456 + 10 * (1 - 20e-6) + 0.002, error_ms: 0.1, heard: true }, { at_s: 20, sound_s: 90, error_ms: 9, heard: false }]
  assert.equal(seamSays(windows, laid), '1 of 2 windows along the take were clearly heard. The middle one lies 2.0 ms late, 95 % lie within 2.0 ms, the furthest is 2.0 ms off.')
  assert.equal(positionSays(10, laid, windows), '0:10.000 in the clip, 1:12.345 in the sound, the seam near here 2.0 ms late')
})
