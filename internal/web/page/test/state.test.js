import assert from 'node:assert/strict'
import { existsSync, readFileSync } from 'node:fs'
import { test } from 'node:test'
import { counts, createStore, day, empty, items, nothing, recording, reduce, sorted, take, wall, refusal } from '../common/state.js'

const clip = (id, more) => ({ id, path: `/x/${id}`, name: `${id}.MP4`, kind: 'clip', state: 'read', done: 1, length_s: 10, day_s: null, device: 'a', picture: null, tracks: [], ...more })
const sound = (id, more) => clip(id, { kind: 'sound', name: `${id}.wav`, ...more })
const made = (id, more) => ({ id, sound: 's1', others: [], verdict: 'sure', status: 'done', why: [], chance_of_error: 0, line: { offset_s: 0, drift_ppm: 0 }, moved_ms: 0, seam_ms: 0, from_s: 0, to_s: 10, word: { approved: false, line: null }, ...more })
const start = () => reduce(nothing(), { version: 1, recordings: [clip('c1'), clip('c2'), sound('s1')], takes: [made('c1')] })

test('members are put in by id, others stay the same objects', () => {
  const a = start()
  const b = reduce(a, { version: 2, takes: [made('c1', { status: 'look' }), made('c2')] })
  assert.equal(b.version, 2)
  assert.deepEqual(b.takes.map((t) => [t.id, t.status]), [['c1', 'look'], ['c2', 'done']])
  assert.equal(b.recordings, a.recordings)
  assert.equal(a.takes[0].status, 'done')
  assert.equal(take(b, 'c1')?.status, 'look')
  assert.equal(recording(b, 's1')?.name, 's1.wav')
})

test('what is gone goes before what comes is put in', () => {
  const b = reduce(start(), { version: 2, gone: ['c1', 's1'], recordings: [clip('c1', { alone: ['nobody heard it'] })] })
  assert.deepEqual(b.takes, [])
  assert.deepEqual(b.recordings.map((r) => r.id), ['c2', 'c1'])
  assert.equal(take(b, 'c1'), undefined)
})

test('all throws the old lists away', () => {
  const b = reduce({ ...start(), notes: ['old'] }, { version: 9, all: true, recordings: [clip('c7')] })
  assert.deepEqual([b.recordings.length, b.takes.length, b.notes?.length], [1, 0, 0])
})

test('history and parts that are left out', () => {
  const step = { label: 'approved', take: 'c1' }
  const b = reduce(start(), { version: 2, history: { undo: step, redo: null } })
  assert.equal(b.undo, step)
  const c = reduce(b, { version: 3, work: { busy: true, done: 1, total: 2 } })
  assert.equal(c.undo, step)
  assert.equal(c.work.busy, true)
  assert.equal(reduce(c, { version: 4, history: { undo: null, redo: step } }).undo, null)
})

test('a store tells, and forgets who left', () => {
  const store = createStore()
  const heard = []
  const leave = store.subscribe((s, p) => heard.push([s.version, p.version]))
  store.apply({ version: 4 })
  leave()
  store.apply({ version: 5 })
  assert.deepEqual(heard, [[4, 4]])
  assert.equal(store.get().version, 5)
  assert.ok(empty(store.get()))
})

test('what stands on the wall', () => {
  const s = reduce(nothing(), {
    version: 1,
    recordings: [clip('c10', { day_s: 50 }), clip('c9', { day_s: 60 }), clip('c3', { alone: ['why'] }), sound('s1', { day_s: 40 }), sound('s2', { alone: ['why'] }), clip('f', { state: 'failed', kind: '', error: 'cut short' }), clip('w', { state: 'reading' })],
    takes: [made('c10', { status: 'look', verdict: 'unsure', chance_of_error: 0.2 }), made('c9', { word: { approved: false, line: null, name: 'Kiln' } })],
  })
  const list = items(s)
  assert.deepEqual(list.map((i) => [i.id, i.kind, i.name]), [['c10', 'take', 'c10.MP4'], ['c9', 'take', 'Kiln'], ['c3', 'alone', 'c3.MP4'], ['s2', 'alone', 's2.wav'], ['f', 'failed', 'f.MP4'], ['w', 'waiting', 'w.MP4']])
  assert.deepEqual(counts(list), { look: 1, done: 1, alone: 3, all: 6 })
  assert.deepEqual(wall(s, 'all', 'time').map((p) => [p.part, p.items.map((i) => i.id)]), [['takes', ['c10', 'c9', 'w']], ['alone', ['c3', 's2']], ['failed', ['f']]])
  assert.deepEqual(wall(s, 'look', 'time').map((p) => p.part), ['takes'])
  assert.deepEqual(wall(s, 'alone', 'time').map((p) => p.part), ['alone', 'failed'])
})

test('orders: numbers in names count as numbers, what has no time is last', () => {
  const s = reduce(nothing(), {
    version: 1,
    recordings: [clip('c10', { length_s: 5 }), clip('c9', { day_s: 9, length_s: 70 }), clip('c1', { day_s: 2, length_s: 6 })],
    takes: [made('c10', { chance_of_error: 1e-9 }), made('c9', { chance_of_error: 0.01 }), made('c1', { status: 'look', chance_of_error: 0.001 })],
  })
  const by = (order) => sorted(items(s), order).map((i) => i.id)
  assert.deepEqual(by('name'), ['c1', 'c9', 'c10'])
  assert.deepEqual(by('time'), ['c1', 'c9', 'c10'])
  assert.deepEqual(by('length'), ['c9', 'c1', 'c10'])
  assert.deepEqual(by('doubt'), ['c1', 'c9', 'c10'])
})

test('the day', () => {
  const s = reduce(nothing(), {
    version: 1,
    recordings: [clip('c2', { day_s: 30 }), clip('c1', { day_s: 20 }), sound('s1', { day_s: 10 }), clip('c5', { day_s: 25, alone: ['why'] }), sound('s9', { alone: ['why'] }), clip('f', { state: 'failed' })],
    takes: [made('c1'), made('c2')],
  })
  const d = day(s)
  assert.deepEqual(d.shores.map((x) => [x.sound.id, x.clips.map((c) => c.id)]), [['s1', ['c1', 'c2']]])
  assert.deepEqual(d.alone.map((r) => r.id), ['c5'])
  assert.deepEqual(d.loose.map((r) => r.id), ['s9'])
})

// The samples that the program's own tests read too.
const contract = new URL('../../../../testdata/contract/', import.meta.url)
test('the contract’s samples', { skip: !existsSync(contract) && 'testdata/contract is not there' }, () => {
  const read = (name) => JSON.parse(readFileSync(new URL(name, contract), 'utf8'))
  const whole = read('state.json')
  const s = reduce(nothing(), { ...whole, all: true })
  assert.deepEqual([s.shoot, s.takes, s.recordings, s.marriage], [whole.shoot, whole.takes, whole.recordings, whole.marriage])
  for (const t of s.takes) assert.ok(recording(s, t.id) && recording(s, t.sound), `take ${t.id} lacks a recording`)
  const n = counts(items(s))
  assert.equal(n.look + n.done, s.takes.length)
  assert.ok(n.all >= s.takes.length)
  const patch = read('patch.json')
  const after = reduce(s, patch)
  assert.equal(after.version, patch.version)
  for (const t of patch.takes ?? []) assert.deepEqual(take(after, t.id), t)
  for (const r of patch.recordings ?? []) assert.deepEqual(recording(after, r.id), r)
  for (const id of patch.gone ?? []) assert.ok(!(take(after, id) || recording(after, id)) || patch.recordings?.some((r) => r.id === id), `${id} is still there`)
})

test('a refusal takes along what was said of the two together', () => {
  const take = (word) => ({ sound: 's', word: { approved: false, line: null, ...word } })
  assert.deepEqual(refusal(take({})), { refused: ['s'] })
  assert.deepEqual(refusal(take({ refused: ['r', 's'] })), { refused: ['r', 's'] })
  assert.deepEqual(refusal(take({ sound: 's', line: { offset_s: 1, drift_ppm: 0 }, approved: true })), { refused: ['s'], sound: '', line: null, approved: false })
})
