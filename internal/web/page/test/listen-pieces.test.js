import assert from 'node:assert/strict'
import test from 'node:test'
import { RATE } from '../listen/gains.js'
import { joined } from '../listen/pieces.js'

/**
 * A program whose frames count up, and which says how much of each piece was taken from it.
 * @param {{stop?: number, broken?: number}} [how]  stop: the sound ends there; broken: the connection breaks there
 */
function program({ stop = Infinity, broken = Infinity } = {}) {
  const pieces = /** @type {{from: number, to: number, sent: number, ended: boolean}[]} */ ([])
  const ask = async (/** @type {number} */ from, /** @type {number} */ to) => {
    const piece = { from, to, sent: 0, ended: false }
    pieces.push(piece)
    let at = from
    return new ReadableStream({
      pull(c) {
        if (at >= broken) return c.error(new Error('broken off'))
        const n = Math.min(4801, Math.min(to, stop, broken) - at)
        if (n <= 0) {
          piece.ended = true
          return c.close()
        }
        const data = new Float32Array(2 * n)
        for (let k = 0; k < n; k++) data.set([at + k, -(at + k)], 2 * k)
        at += n
        piece.sent += n
        c.enqueue(new Uint8Array(data.buffer))
      },
    }, { highWaterMark: 0 })
  }
  return { pieces, ask }
}

/** @param {ReadableStream<Uint8Array>} stream @returns {Promise<number>} frames, each checked against its number */
async function count(stream, from = 0) {
  const all = []
  for await (const chunk of stream) all.push(chunk)
  const bytes = new Uint8Array(await new Blob(all).arrayBuffer())
  const samples = new Float32Array(bytes.buffer)
  for (let k = 0; k < samples.length / 2; k++) if (samples[2 * k] !== Math.fround(from + k) || samples[2 * k + 1] !== -Math.fround(from + k)) assert.fail(`frame ${from + k}`)
  return samples.length / 2
}

const rest = async () => { for (let i = 0; i < 800; i++) await new Promise(setImmediate) }

test('pieces follow each other without gap or overlap, each longer up to 16 s', async () => {
  const { pieces, ask } = program()
  const from = 1234, to = from + 70 * RATE
  assert.equal(await count(joined(from, to, new AbortController().signal, ask), from), 70 * RATE)
  assert.deepEqual(pieces.map((p) => (p.to - p.from) / RATE), [4, 8, 16, 16, 16, 10])
  pieces.forEach((p, i) => assert.equal(p.from, i ? pieces[i - 1].to : from))
})

test('a piece is read to its end though nobody reads on, and no other is asked for', async () => {
  const { pieces, ask } = program()
  const reader = joined(0, 600 * RATE, new AbortController().signal, ask).getReader()
  await reader.read()
  await rest()
  assert.deepEqual(pieces, [{ from: 0, to: 4 * RATE, sent: 4 * RATE, ended: true }])
})

test('a sound that ends early ends the stream', async () => {
  const { pieces, ask } = program({ stop: 5 * RATE + 7 })
  assert.equal(await count(joined(0, 60 * RATE, new AbortController().signal, ask)), 5 * RATE + 7)
  assert.equal(pieces.length, 2)
})

test('what breaks off is an error, after what had come; so is an abort', async () => {
  const { ask } = program({ broken: 5 * RATE })
  let frames = 0
  await assert.rejects(async () => {
    for await (const chunk of joined(0, 60 * RATE, new AbortController().signal, ask)) frames += chunk.length / 8
  }, /broken off/)
  assert.equal(frames, 5 * RATE)

  const stop = new AbortController()
  const reader = joined(0, 60 * RATE, stop.signal, program().ask).getReader()
  await reader.read()
  stop.abort()
  await assert.rejects(async () => { for (;;) await reader.read() }, { name: 'AbortError' })
})
