import assert from 'node:assert/strict'
import { test } from 'node:test'
import { extent, lanes, neighbour, pack } from '../wall/daylanes.js'
import { columnsOf } from '../wall/looks.js'
import { createQueue } from '../common/queue.js'
import { move, place } from '../wall/wallgrid.js'

const parts = (a, b) => [{ part: 'takes', items: Array.from({ length: a }, (_, k) => ({ id: `t${k}` })) }, { part: 'alone', items: Array.from({ length: b }, (_, k) => ({ id: `a${k}` })) }]
const heights = { tile: 100, title: 40 }

test('rows lie one under the other', () => {
  const { rows, height } = place(parts(5, 1), 2, heights)
  assert.deepEqual(rows.map((r) => [r.title, r.top, r.items.map((i) => i.id).join()]), [['takes', 0, ''], ['', 40, 't0,t1'], ['', 140, 't2,t3'], ['', 240, 't4'], ['alone', 340, ''], ['', 380, 'a0']])
  assert.equal(height, 480)
  assert.deepEqual(rows.map((r) => r.index), [0, 1, 2, 3, 4, 5])
  assert.equal(place(parts(5, 1).slice(0, 1), 2, heights).rows[0].title, '')
})

test('keys lead over the wall and stop at its edges', () => {
  const { rows } = place(parts(5, 2), 2, heights)
  for (const [from, key, to] of [
    ['t0', 'ArrowRight', 't1'], ['t1', 'ArrowRight', 't2'], ['t0', 'ArrowLeft', 't0'], ['a1', 'ArrowRight', 'a1'],
    ['t1', 'ArrowDown', 't3'], ['t3', 'ArrowDown', 't4'], ['t4', 'ArrowDown', 'a0'], ['a1', 'ArrowDown', 'a1'], ['t1', 'ArrowUp', 't1'], ['a1', 'ArrowUp', 't4'],
    ['t1', 'PageDown', 't4'], ['t4', 'PageUp', 't0'], ['t2', 'Home', 't0'], ['t2', 'End', 'a1'], ['gone', 'ArrowDown', 't0'],
  ]) assert.equal(move(rows, from, key, 2), to, `${key} from ${from}`)
  assert.equal(move([], 't0', 'End', 2), undefined)
})

test('few requests at a time, the latest wish first, the unseen given up', async () => {
  const queue = createQueue(2)
  const begun = [], ends = new Map(), stopped = []
  const job = (key) => queue.want(key, (signal) => new Promise((done) => {
    begun.push(key)
    ends.set(key, done)
    signal.addEventListener('abort', () => { stopped.push(key); done() })
  }))
  for (const key of ['a', 'b', 'c', 'd', 'e']) job(key)
  assert.deepEqual(begun, ['a', 'b'])
  job('a')
  assert.equal(queue.size, 5)
  ends.get('a')()
  await new Promise(setImmediate)
  assert.deepEqual(begun, ['a', 'b', 'e'])
  queue.keep(new Set(['e', 'c']))
  await new Promise(setImmediate)
  assert.deepEqual(stopped, ['b'])
  assert.deepEqual(begun, ['a', 'b', 'e', 'c'])
  ends.get('e')()
  ends.get('c')()
  await new Promise(setImmediate)
  assert.equal(queue.size, 0)
})

test('a job that fails makes room for the next', async () => {
  const queue = createQueue(1)
  let ran = false
  queue.want('bad', async () => { throw new Error('no') })
  queue.want('good', async () => { ran = true })
  await new Promise(setImmediate)
  assert.ok(ran)
  assert.equal(queue.size, 0)
})

test('columns are scaled to the loudest, on their side', () => {
  const p = { low: Int16Array.of(-100, -200, 0, -50), high: Int16Array.of(50, 100, 25, 50), rms: Uint16Array.of(40, 100, 10, 20) }
  assert.deepEqual([...columnsOf(p, 2)], [0, 0, 127, 51, 0, 0, 255, 127, 0, 0, 31, 12, 0, 0, 63, 25])
  assert.equal(columnsOf(p, 0)[4], 255)
  const long = columnsOf({ low: new Int16Array(1000), high: new Int16Array(1000).fill(7), rms: new Uint16Array(1000) }, 0)
  assert.equal(long.length, 4 * 180)
})

const rec = (id, day_s, length_s) => ({ id, day_s, length_s })

test('recordings are packed without overlap', () => {
  const span = (r) => [r.day_s, r.day_s + r.length_s]
  const lines = pack([rec('c', 20, 5), rec('a', 0, 10), rec('b', 5, 10), rec('d', 10, 5)], span)
  assert.deepEqual(lines.map((l) => l.map((r) => r.id).join('')), ['adc', 'b'])
})

test('lanes of a day, and where arrows lead', () => {
  const d = { shores: [{ sound: rec('s1', 0, 100), clips: [rec('c1', 10, 20), rec('c2', 15, 20)] }, { sound: rec('s2', 50, 100), clips: [rec('c3', 60, 5), rec('c4', 90, 5)] }], alone: [rec('x', 500, 10)], loose: [] }
  const { lanes: all, height } = lanes(d, 1)
  assert.deepEqual(all.map((l) => l.sounds.map((s) => s.id).join()), ['s1', 's2', ''])
  assert.deepEqual(extent(all), { begin: 0, end: 510 })
  assert.equal(extent([]), null)
  assert.ok(all[0].clips[1].top > all[0].clips[0].top, 'clips that overlap lie on two lines')
  assert.equal(all[1].top, all[0].height)
  assert.equal(height, all[0].height + all[1].height + all[2].height)
  for (const [from, key, to] of [['c1', 'ArrowRight', 'c2'], ['c2', 'ArrowRight', undefined], ['c1', 'ArrowDown', 'c3'], ['c4', 'ArrowUp', 'c2'], ['c3', 'End', 'c4'], ['x', 'ArrowUp', 'c4']]) {
    assert.equal(neighbour(all, from, key), to, `${key} from ${from}`)
  }
})
