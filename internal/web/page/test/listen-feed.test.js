import assert from 'node:assert/strict'
import test from 'node:test'
import { AHEAD, BEHIND, BLOCK } from '../listen/buffer.js'
import { Feed } from '../listen/feed.js'
import { RATE } from '../listen/gains.js'

/**
 * A program that streams a take whose body is the frame's number and whose scratch is its negative,
 * in pieces of an awkward size.
 * @param {{stop?: number, fail?: (opened: number) => boolean}} [how]  stop: the stream ends there
 */
function program({ stop = Infinity, fail = () => false } = {}) {
  const log = { opened: /** @type {number[]} */ ([]), aborted: 0, sent: 0 }
  /** @type {import('../listen/feed.js').Ways['open']} */
  const open = async (from, to, signal) => {
    log.opened.push(from)
    if (fail(log.opened.length)) throw new Error('the program went away')
    let at = from
    return new ReadableStream({
      start: (c) => signal.addEventListener('abort', () => { log.aborted++; c.error(new DOMException('stopped', 'AbortError')) }),
      pull(c) {
        const n = Math.min(3001, Math.min(to, stop) - at)
        if (n <= 0) return c.close()
        const piece = new Float32Array(2 * n)
        for (let k = 0; k < n; k++) {
          piece[2 * k] = at + k
          piece[2 * k + 1] = -(at + k)
        }
        at += n
        log.sent += n
        c.enqueue(new Uint8Array(piece.buffer))
      },
    }, { highWaterMark: 0 })
  }
  return { log, open }
}

/** @param {ReturnType<typeof program>} from */
function feeding(from, end = 300 * RATE) {
  /** @type {Map<number, Float32Array>} */
  const blocks = new Map()
  const told = { end: -1, trouble: /** @type {unknown[]} */ ([]) }
  const feed = new Feed(end, {
    open: from.open,
    block: (i, data) => void blocks.set(i, data),
    drop: (gone) => gone.forEach((i) => blocks.delete(i)),
    end: (at) => (told.end = at),
    trouble: (why) => void told.trouble.push(why),
  })
  return { feed, blocks, told }
}

/** Lets all that can happen happen. */
const rest = async () => { for (let i = 0; i < 2000; i++) await new Promise(setImmediate) }

test('it reads 15 s ahead, then waits, and goes on as the playhead does', async () => {
  const from = program()
  const { feed, blocks } = feeding(from)
  feed.tend(0, null, true)
  await rest()
  assert.ok(feed.has(0, AHEAD) && !feed.has(0, AHEAD + 2 * BLOCK))
  assert.ok(from.log.sent < AHEAD + 3 * BLOCK, `${from.log.sent} frames sent`)
  for (let pos = 0; pos < 60 * RATE; pos += RATE) {
    feed.tend(pos, null, true)
    await rest()
    assert.ok(feed.has(pos, AHEAD))
    assert.ok(blocks.size * BLOCK <= AHEAD + BEHIND + 4 * BLOCK, `${blocks.size} blocks are held`)
  }
  assert.deepEqual(from.log.opened, [0], 'one stream for all of it')
  for (const [i, data] of blocks) for (const k of [0, 1, BLOCK - 1]) {
    assert.deepEqual([data[2 * k], data[2 * k + 1]], [Math.fround(i * BLOCK + k), -Math.fround(i * BLOCK + k)], `block ${i}`)
  }
  feed.close()
})

test('a seek away stops the stream and begins another; a seek to what is here does not', async () => {
  const from = program()
  const { feed } = feeding(from)
  feed.tend(0, null, true)
  await rest()
  feed.tend(5 * RATE, null, true)
  await rest()
  feed.tend(2 * RATE, null, true)
  await rest()
  assert.deepEqual(from.log.opened, [0])
  feed.tend(100 * RATE, null, true)
  await rest()
  assert.deepEqual(from.log.opened, [0, Math.floor((100 * RATE) / BLOCK) * BLOCK])
  assert.equal(from.log.aborted, 1)
  assert.ok(feed.has(100 * RATE, AHEAD))
  feed.close()
  assert.equal(from.log.aborted, 2)
})

test('while nothing plays no stream is kept open', async () => {
  const from = program()
  const { feed } = feeding(from)
  feed.tend(0, null, false)
  await rest()
  feed.tend(0, null, false)
  assert.ok(feed.has(0, AHEAD))
  assert.equal(feed.run, null)
  assert.equal(from.log.aborted, 1)
  feed.close()
})

test('a loop is fetched once and held', async () => {
  const from = program()
  const { feed } = feeding(from)
  const loop = { from: 50 * RATE, to: 53 * RATE }
  for (let i = 0; i < 40; i++) {
    feed.tend(loop.from + (i % 6) * 0.5 * RATE, loop, true)
    await rest()
  }
  assert.ok(feed.has(loop.from, 3 * RATE))
  assert.ok(from.log.sent < 5 * RATE, `${from.log.sent} frames sent`)
  feed.close()
})

test('a long loop has its beginning again before its end is reached', async () => {
  const { feed, blocks } = feeding(program())
  const loop = { from: 20 * RATE, to: 80 * RATE }
  for (let pos = loop.from; pos < loop.to; pos += RATE) {
    feed.tend(pos, loop, true)
    await rest()
    assert.ok(blocks.size * BLOCK < 2 * AHEAD + BEHIND + 8 * BLOCK)
  }
  assert.ok(feed.has(loop.from, 5 * RATE))
  feed.close()
})

test('the last piece is a block too, and a stream that ends early is the end', async () => {
  const end = 3 * BLOCK + 100
  for (const stop of [Infinity, 2 * BLOCK + 50]) {
    const { feed, blocks, told } = feeding(program({ stop }), end)
    feed.tend(0, null, true)
    await rest()
    assert.equal(told.end, stop === Infinity ? -1 : stop)
    const last = Math.min(end, stop) - 1
    assert.equal(blocks.get(Math.floor(last / BLOCK))?.[2 * (last % BLOCK)], Math.fround(last))
    assert.ok(feed.has(0, end))
    feed.close()
  }
})

test('a stream that fails is asked for again, not at once, and told when it fails twice', async () => {
  const from = program({ fail: (n) => n < 4 })
  const { feed, told } = feeding(from)
  feed.tend(0, null, true)
  for (const opened of [1, 2, 3]) {
    await rest()
    feed.tend(0, null, true)
    assert.equal(from.log.opened.length, opened, 'too early')
    assert.ok(feed.pause)
    feed.again() // as the timer does
  }
  await rest()
  assert.deepEqual(told.trouble.map((w) => (w instanceof Error ? w.message : w)), ['the program went away', 'the program went away', null])
  assert.ok(feed.has(0, AHEAD))
  feed.close()
})
