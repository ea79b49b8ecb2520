// A made-up shoot for the mock: recordings, takes and what is known of them.
import { claps, hash } from './waves.mjs'

const places = ['Kiln', 'Harbour', 'Allotment', 'Ferry', 'Workshop', 'Orchard', 'Quarry', 'Boathouse']

/** @param {{takes: number, minutes: number}} ask minutes: length of the first clip, 0 as it comes */
export function makeWorld({ takes, minutes }) {
  const w = { recordings: [], takes: [], truth: new Map(), seeds: new Map() }
  let clock = 8.5 * 3600
  let sound = null
  for (let i = 0; i < takes; i++) {
    if (i % 4 === 0) {
      clock += 600
      sound = addSound(w, i / 4, clock)
    }
    clock += 20 + 90 * hash(11, i)
    const length = i === 0 && minutes ? minutes * 60 : 18 + 300 * hash(12, i) ** 2
    addTake(w, i, sound, clock, length)
    clock += length
    if (i % 9 === 4) addAlone(w, i, clock + 5)
    sound.length_s = clock - sound.day_s + 25
  }
  for (let k = 0; k < Math.max(1, takes / 40); k++) extra(w, k)
  return w
}

function recording(id, name, kind, more) {
  return { id, path: `/home/maker/${kind === 'clip' ? 'CARD_A' : 'RECORDER'}/${name}`, name, kind, state: 'read', done: 1, length_s: 0, day_s: null, device: kind === 'clip' ? 'cam-a' : 'rec-1', picture: null, tracks: [{ rate: 48000, channels: kind === 'clip' ? 2 : 1 }], ...more }
}

const picture = { width: 1920, height: 1080, fps: 25, rate: '25', start_s: 0, codec: 'h264', type: 'video/mp4; codecs="avc1.42c01e"' }

const stamp = (s) => new Date(Date.UTC(2026, 0, 14) + s * 1000).toISOString().replace('.000', '')

function addSound(w, n, clock) {
  const day = clock - 15 - 20 * hash(21, n)
  const r = recording(`s${n}`, `rec_${stamp(day).slice(0, 19).replace(/[-:]/g, '').replace('T', '_')}.wav`, 'sound', { day_s: day, made: stamp(day) })
  w.recordings.push(r)
  w.seeds.set(r.id, 100 + n)
  return r
}

function addClip(w, id, name, day, length, seed) {
  const r = recording(id, name, 'clip', { day_s: day, made: stamp(day + 7), length_s: length, picture })
  w.recordings.push(r)
  w.seeds.set(id, seed)
  return r
}

const whys = {
  sure: ['its match stands 46 times above the noise, its halves agree within 0.1 ms'],
  unsure: ['its match stands 9.4 times above the noise; fourteen are asked for', 'most of the clip is wind'],
  two: ['two places fit equally well, 12.40 s apart: the sound repeats there'],
  weighing: [],
  hand: ['only you say that the two belong together'],
}

function addTake(w, i, sound, day, length) {
  const id = `c${i}`
  const drift = Math.round((hash(31, i) * 80 - 40) * 10) / 10
  const offset = day - sound.day_s
  addClip(w, id, `C${String(7 + i * 2).padStart(4, '0')}.MP4`, day, length, w.seeds.get(sound.id))
  w.truth.set(id, { sound: sound.id, offset_s: offset, drift_ppm: drift })
  const verdict = i % 6 === 2 ? 'unsure' : i % 23 === 19 ? 'weighing' : i % 31 === 27 ? 'hand' : 'sure'
  const others = i % 6 === 2 && i >= 4 ? [`s${Math.floor(i / 4) - 1}`] : []
  const t = {
    id, sound: sound.id, others, verdict, status: 'done',
    why: whys[verdict === 'unsure' && i % 12 === 8 ? 'two' : verdict],
    chance_of_error: verdict === 'unsure' ? 0.02 + 0.3 * hash(41, i) : verdict === 'sure' ? 1e-7 : 1,
    line: { offset_s: offset, drift_ppm: drift }, moved_ms: 0, seam_ms: 0.05 + 0.6 * hash(42, i) ** 3,
    from_s: 0, to_s: length, word: { approved: i % 7 === 6, line: null },
  }
  if (i % 10 === 3) t.word.line = { offset_s: offset + 0.012 - 0.02 * hash(51, i), drift_ppm: drift }
  if (i % 5 === 1) t.word.name = `${places[i % places.length]}, take ${1 + (i % 3)}`
  if (i % 8 === 5) { t.from_s = Math.min(4.2, length / 4); t.to_s = length * 0.9 }
  w.takes.push(t)
  settle(w, t)
}

/** settle brings a take in line with the word on it. */
export function settle(w, t) {
  const truth = w.truth.get(t.id)
  t.line = t.word.line ?? { offset_s: truth.offset_s, drift_ppm: truth.drift_ppm }
  t.moved_ms = t.word.line ? (truth.offset_s - t.word.line.offset_s) * 1000 : 0
  const clear = t.verdict === 'sure' || t.verdict === 'hand'
  t.status = clear || t.word.approved || (t.word.line && t.verdict !== 'weighing') ? 'done' : 'look'
}

function addAlone(w, i, day) {
  addClip(w, `a${i}`, `C${String(900 + i).padStart(4, '0')}.MP4`, day, 30 + 60 * hash(61, i), 5000 + i).alone = [i % 2 ? 'no sound heard the same moment' : 'it has no sound track: nothing to listen to']
}

function extra(w, k) {
  w.recordings.push(recording(`x${k}`, `voice note ${k + 1}.m4a`, 'sound', { length_s: 340, alone: ['no clip heard the same moment'], device: 'phone' }))
  w.seeds.set(`x${k}`, 7000 + k)
  w.recordings.push(recording(`f${k}`, `C0${k}99.MP4`, '', { state: 'failed', done: 0, tracks: [], error: 'read clip "C099.MP4": its index is cut short, as after a pulled card' }))
  w.recordings.push(recording(`n${k}`, `GX0100${k}2.MP4`, 'clip', { length_s: 64, picture, device: 'cam-b', alone: ['no sound heard the same moment'] }))
  w.seeds.set(`n${k}`, 8000 + k)
}

/** What the clip hears at t comes from the sound at s. */
export function soundTime(w, clip, t, line) {
  const l = line ?? w.truth.get(clip)
  return l ? l.offset_s + (1 + l.drift_ppm * 1e-6) * t : t
}

/** detail is what is shown of one take when it is looked at closely. */
export function detail(w, take, soundID, married) {
  const clip = w.recordings.find((r) => r.id === take.id)
  const truth = w.truth.get(take.id)
  const other = soundID && soundID !== take.sound
  const t = other ? { ...take, sound: soundID, verdict: 'unsure', line: { offset_s: truth.offset_s + 61.7, drift_ppm: 3 }, chance_of_error: 0.9 } : take
  const shift = other ? 61.7 : 0
  const span = (l) => ({ from_s: t.from_s, to_s: t.to_s, offset_s: l.offset_s + shift, drift_ppm: l.drift_ppm })
  const windows = []
  const n = Math.min(400, Math.max(6, Math.floor(clip.length_s / 4)))
  const wide = take.verdict === 'unsure' || other ? 9 : 0.12
  for (let k = 0; k < n; k++) {
    const at = t.from_s + ((k + 0.5) * (t.to_s - t.from_s)) / n
    const left = (hash(70 + k, n) + hash(71 + k, n) + hash(72 + k, n) - 1.5) * wide
    windows.push({ at_s: at, sound_s: soundTime(w, t.id, at) + shift + left / 1000, error_ms: wide * (0.3 + hash(73, k)), heard: hash(74, k) > (wide > 1 ? 0.7 : 0.15) })
  }
  const unit = 1 + truth.drift_ppm * 1e-6
  const sharp = claps(truth.offset_s, truth.offset_s + unit * clip.length_s).map((s) => ({ sound_s: s, clip_s: (s - truth.offset_s) / unit }))
  const candidates = [{ sound: take.sound, line: { offset_s: truth.offset_s, drift_ppm: truth.drift_ppm }, strength: take.verdict === 'sure' ? 46 : 9.4, for: ['its halves agree'], against: take.verdict === 'sure' ? [] : ['stands under fourteen'] }]
  for (const o of take.others) candidates.push({ sound: o, line: { offset_s: truth.offset_s + 61.7, drift_ppm: 3 }, strength: 6.1, for: [], against: ['its halves do not agree: 18 ms'] })
  const drifts = clip.length_s > 25
  return { take: t, clip_track: 0, sound_track: 0, measured: take.verdict === 'hand' ? [] : [span(truth)], laid: [span(t.line)], windows, claps: other ? [] : sharp, candidates, inverted: take.id === 'c5', sigma_ms: wide / 40, drift_sigma: drifts ? 0.4 : null, through: [], married: married ?? null }
}
