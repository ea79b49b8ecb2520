import assert from 'node:assert/strict'
import { test } from 'node:test'
import { outcome } from '../done/done.js'
import { chord, define, places, press, printed } from '../common/keys.js'
import { crumbs } from '../start/places.js'
import { reach } from '../done/proof.js'
import { heap } from '../start/start.js'
import { base, bytes, chance, clock, count, dayTime, late, moved, ms, ppm, spoken, stepSays, told } from '../common/words.js'

test('figures', () => {
  for (const [got, want] of [
    [clock(0), '0:00'], [clock(59.6), '1:00'], [clock(3723), '1:02:03'], [clock(7.25, 3), '0:07.250'], [clock(-1.5, 1), '−0:01.5'], [clock(59.9996, 3), '1:00.000'], [clock(-0.0001, 3), '0:00.000'],
    [spoken(0), '0 seconds'], [spoken(61), '1 minute 1 second'], [spoken(7200), '2 hours'], [spoken(7325), '2 hours 2 minutes'],
    [dayTime(50602), '14:03:22'], [dayTime(86400 + 60, true), '00:01'], [dayTime(-60, true), '23:59'],
    [ms(0.001), 'under 0.01 ms'], [ms(-0.25), '0.25 ms'], [ms(0.999), '1.0 ms'], [ms(12.34), '12.3 ms'], [ms(99.96), '100 ms'], [ms(1250), '1.250 s'],
    [late(3.2), '3.2 ms late'], [late(-3.2), '3.2 ms early'], [late(0.001), 'right on'], [moved(-12), 'moved 12.0 ms earlier'],
    [ppm(-12.34), '−12.3 ppm'], [ppm(0), '0.0 ppm'], [ppm(5), '+5.0 ppm'],
    [chance(0.25), '25 %'], [chance(0.001), '1 in 1,000'], [chance(0), 'under 1 in a million'],
    [stepSays({ label: 'approved', take: 'a', more: 0 }, [{ id: 'a', name: 'C1.MP4' }]), 'approved, C1.MP4'], [stepSays({ label: 'approved', take: 'a', more: 2 }, [{ id: 'a', name: 'C1.MP4' }]), 'approved, C1.MP4 and 2 more'], [stepSays({ label: 'note changed', take: 'gone', more: 0 }, []), 'note changed'],
    [bytes(0), '1 kB'], [bytes(2.5e6), '3 MB'], [bytes(1.34e10), '13.4 GB'],
    [count(1, 'take'), '1 take'], [count(1240, 'take'), '1,240 takes'], [count(2, 'is', 'are'), '2 are'],
    [base('/a/b/c.mov'), 'c.mov'], [base('C:\\x\\y\\'), 'y'], [base('/'), '/'],
  ]) assert.equal(got, want)
})

test('what is told of an item', () => {
  const t = { verdict: 'sure', moved_ms: 1.5, word: { approved: true }, why: ['stands high', 'more'] }
  const r = { state: 'read', error: 'cut short', alone: ['nobody heard it'] }
  assert.deepEqual(told({ kind: 'take', recording: r, take: t }), { word: 'sure, moved 1.5 ms later, approved', why: 'stands high' })
  assert.deepEqual(told({ kind: 'take', recording: r, take: { ...t, verdict: 'weighing', moved_ms: 0, word: {}, why: null } }), { word: 'being weighed', why: '' })
  assert.deepEqual(told({ kind: 'alone', recording: r }), { word: 'alone', why: 'nobody heard it' })
  assert.deepEqual(told({ kind: 'failed', recording: r }), { word: 'not read', why: 'cut short' })
})

test('what became of a finished clip', () => {
  const proof = { state: 'in sync', late_ms: 0.2, seam_p95_ms: 0.3 }
  assert.deepEqual(outcome({ state: 'written', proof }), { word: 'written; in sync, 0.20 ms late, 95 % of the seam within 0.30 ms', bad: false })
  assert.equal(outcome({ state: 'written', proof: { ...proof, state: 'out of sync' } }).bad, true)
  assert.equal(outcome({ state: 'failed', proof: null }).bad, true)
  assert.match(outcome({ state: 'kept', proof: { ...proof, state: 'could not tell' } }).word, /could not be told/)
})

test('the seam’s scale holds every leftover', () => {
  assert.equal(reach([{ late_ms: 0.3 }, { late_ms: -0.6 }]), 1)
  assert.equal(reach([]), 0.1)
  assert.equal(reach([{ late_ms: -731.2 }]), 732)
})

test('keys by name', () => {
  const e = (key, more) => ({ key, ctrlKey: false, metaKey: false, altKey: false, shiftKey: false, ...more })
  for (const [event, want] of [
    [e('a'), 'a'], [e('A', { shiftKey: true }), 'Shift+a'], [e('?', { shiftKey: true }), '?'], [e(' '), 'Space'], [e('Z', { shiftKey: true, metaKey: true }), 'Mod+Shift+z'],
    [e('z', { ctrlKey: true }), 'Mod+z'], [e('ArrowLeft', { shiftKey: true, altKey: true }), 'Alt+Shift+ArrowLeft'], [e('+', { shiftKey: true }), '+'],
  ]) assert.equal(chord(event), want)
  assert.deepEqual(printed('Mod+Shift+z', false), ['Ctrl', 'Shift', 'Z'])
  assert.deepEqual(printed('Mod+z', true), ['Cmd', 'Z'])
  assert.deepEqual(printed('+', false), ['+'])
})

test('what a place defines is what works and what is listed', () => {
  const ran = []
  define('Here', [{ keys: ['j'], says: 'on', run: () => void ran.push('j') }, { keys: ['k'], says: '', run: () => false }, { keys: ['Enter'], says: 'by itself' }])
  const event = (key) => ({ key, prevented: false, preventDefault() { this.prevented = true } })
  const j = event('j'), k = event('k')
  assert.equal(press('Here', j), true)
  assert.ok(j.prevented)
  assert.equal(press('Here', k), false)
  assert.ok(!k.prevented)
  assert.equal(press('Here', event('Enter')), false)
  assert.equal(press('Nowhere', event('j')), false)
  assert.deepEqual(ran, ['j'])
  assert.deepEqual(places().find((p) => p.place === 'Here')?.rows.map((r) => r.keys[0]), ['j', 'Enter'])
})

test('the way to a folder', () => {
  assert.deepEqual(crumbs({ name: 'Home', path: '/home/m' }, '/home/m/a/b').map((c) => c.path), ['/home/m', '/home/m/a', '/home/m/a/b'])
  assert.deepEqual(crumbs({ name: 'Card', path: 'E:\\' }, 'E:\\x\\y').map((c) => c.path), ['E:\\', 'E:\\x', 'E:\\x\\y'])
  assert.deepEqual(crumbs({ name: 'Root', path: '/' }, '/a').map((c) => c.path), ['/', '/a'])
})

test('a heap stays in its box', () => {
  const d = heap([{ length_s: 5, done: 1, state: 'read' }, { length_s: 500, done: 0.5, state: 'reading' }, { length_s: 0, done: 0, state: 'waiting' }])
  const numbers = d.match(/-?[\d.]+/g).map(Number)
  assert.ok(numbers.every((v, k) => v >= 0 && v <= (k % 2 ? 100 : 600.01)), d)
  assert.equal(heap([]), 'M0 98 L600 98 L600 100 L0 100 Z')
})
