// The mock's desk: state, a person's words, undoing, work and marriage that go on by themselves.
import { hash } from './waves.mjs'
import { detail, makeWorld, settle } from './world.mjs'

/** @param {{takes: number, minutes: number, empty: boolean}} ask */
export function makeDesk(ask) {
  const world = makeWorld(ask)
  const desk = new Desk(world)
  if (!ask.empty) desk.fill(world.recordings, world.takes)
  return desk
}

class Desk {
  constructor(world) {
    this.world = world
    this.version = 1
    this.state = {
      shoot: { folder: '/home/maker/Pier', name: 'Pier', paths: [] }, work: { busy: false, done: 0, total: 0 },
      recordings: [], takes: [], marriage: { busy: false, done: 0, total: 0, to: '', clips: [] }, notes: ['"rec_7.wav": its header says 44100 Hz, its length 48000; 48000 was taken'],
    }
    this.steps = []
    this.undone = []
    this.watchers = new Set()
  }

  fill(recordings, takes) {
    this.state.recordings.push(...recordings)
    this.state.takes.push(...takes)
    this.state.shoot.paths = ['/home/maker/CARD_A', '/home/maker/RECORDER']
  }

  whole() {
    return { version: this.version, ...this.state, ...this.history() }
  }

  history() {
    return { undo: this.steps.at(-1)?.step ?? null, redo: this.undone.at(-1)?.step ?? null }
  }

  tell(patch) {
    const p = { version: ++this.version, ...patch }
    for (const fn of this.watchers) fn(p)
  }

  take(id) {
    return this.state.takes.find((t) => t.id === id)
  }

  recording(id) {
    return this.state.recordings.find((r) => r.id === id)
  }

  detail(id, sound) {
    const married = this.state.marriage.clips.find((m) => m.take === id)
    return detail(this.world, this.take(id), sound, married)
  }

  /** word changes what a person says of a clip and answers its take, null where it has none. */
  word(id, change) {
    const clip = this.recording(id)
    if (!clip || clip.kind !== 'clip') return undefined
    const before = JSON.stringify(this.take(id) ?? null)
    let take = this.take(id)
    if (!take) {
      if (!change.sound || !change.line) return null
      take = byHand(this, clip, change)
    }
    Object.assign(take.word, change)
    if (change.sound) this.choose(take, change.sound)
    if (take.word.refused?.includes(take.sound)) this.lose(take)
    else settle(this.world, take)
    this.steps.push({ step: { label: label(change, take), take: id }, id, before, after: JSON.stringify(this.take(id) ?? null) })
    this.undone = []
    this.show(id)
    return this.take(id) ?? null
  }

  choose(take, sound) {
    if (take.sound === sound) return
    take.others = [...take.others.filter((o) => o !== sound), take.sound]
    take.sound = sound
  }

  lose(take) {
    const next = take.others.find((o) => !take.word.refused.includes(o))
    if (next) {
      this.choose(take, next)
      take.others = take.others.filter((o) => !take.word.refused.includes(o))
      settle(this.world, take)
      return
    }
    this.state.takes = this.state.takes.filter((t) => t !== take)
    this.recording(take.id).alone = ['the sound that heard it was refused by you']
  }

  show(id) {
    const t = this.take(id)
    this.tell({ ...(t ? { takes: [t] } : { gone: [id] }), recordings: [this.recording(id)], history: this.history() })
    // A take that is no more leaves its recording behind, which the patch brings again.
  }

  step(from, to, which) {
    const done = from.pop()
    if (!done) return null
    to.push(done)
    const old = JSON.parse(done[which])
    this.state.takes = this.state.takes.filter((t) => t.id !== done.id)
    const clip = this.recording(done.id)
    if (old) {
      const at = this.state.takes.findIndex((t) => this.recording(t.id).day_s > clip.day_s)
      this.state.takes.splice(at < 0 ? this.state.takes.length : at, 0, old)
      delete clip.alone
    } else clip.alone = ['nothing is said of it']
    this.show(done.id)
    return done.step
  }

  undo() {
    return this.step(this.steps, this.undone, 'before')
  }

  redo() {
    return this.step(this.undone, this.steps, 'after')
  }

  /** add makes the world's recordings come in, one after another, then their takes. */
  async add(paths) {
    this.state.shoot.paths.push(...paths)
    const coming = this.world.recordings.filter((r) => !this.recording(r.id))
    this.state.recordings.push(...coming.map((r) => ({ ...r, kind: '', state: 'waiting', done: 0, alone: undefined, tracks: [], length_s: 0 })))
    this.tell({ shoot: this.state.shoot, recordings: this.state.recordings })
    for (const [i, r] of coming.entries()) await this.read(r, i, coming.length)
    for (const t of this.world.takes.filter((t) => !this.take(t.id))) {
      this.state.work = { busy: true, step: 'lining up', file: this.recording(t.id).name, done: this.state.takes.length, total: this.world.takes.length }
      this.state.takes.push(t)
      this.tell({ takes: [t], work: this.state.work })
      await pause(250)
    }
    this.state.recordings = this.world.recordings
    this.state.work = { busy: false, done: 0, total: 0 }
    this.tell({ work: this.state.work, recordings: this.state.recordings })
  }

  async read(r, i, total) {
    const own = this.recording(r.id)
    for (let k = 1; k <= 4; k++) {
      Object.assign(own, { state: 'reading', kind: r.kind, done: k / 4, length_s: r.length_s })
      this.state.work = { busy: true, step: 'reading', file: r.name, done: i + k / 4, total }
      this.tell({ recordings: [own], work: this.state.work })
      await pause(90)
    }
    Object.assign(own, r, { alone: undefined })
    this.tell({ recordings: [own] })
  }

  remove(paths) {
    this.state.shoot.paths = this.state.shoot.paths.filter((p) => !paths.includes(p))
    this.tell({ shoot: this.state.shoot })
  }

  /** marry writes finished clips, in pretence. */
  async marry(ask) {
    const takes = this.state.takes.filter((t) => (ask.only?.length ? ask.only.includes(t.id) : t.status === 'done' || ask.unsure))
    const m = { busy: true, done: 0, total: takes.length, to: `/home/maker/Pier/${ask.to || 'married'}`, clips: [] }
    this.state.marriage = m
    for (const [i, t] of takes.entries()) {
      if (!m.busy) break
      m.file = this.recording(t.id).name
      m.done = i
      this.tell({ marriage: m })
      await pause(400)
      m.clips.push(finished(this.recording(t.id), t, i, ask, m.to))
    }
    Object.assign(m, { busy: false, done: m.clips.length, file: undefined, report: `${m.to}/report.txt` })
    this.tell({ marriage: m })
  }

  stop() {
    this.state.marriage.busy = false
  }
}

const pause = (ms) => new Promise((r) => setTimeout(r, ms))

function label(change, take) {
  if ('approved' in change) return change.approved ? 'approved' : 'approval taken back'
  if ('line' in change) return take.moved_ms ? `laid ${Math.abs(take.moved_ms).toFixed(1)} ms ${take.moved_ms > 0 ? 'later' : 'earlier'}` : 'put back to the measured place'
  if ('refused' in change) return 'refused a sound'
  if ('sound' in change) return 'chose another sound'
  return 'name' in change ? 'named' : 'noted'
}

function byHand(desk, clip, change) {
  const t = { id: clip.id, sound: change.sound, others: [], verdict: 'hand', status: 'done', why: ['only you say that the two belong together'], chance_of_error: 1, line: change.line, moved_ms: 0, seam_ms: 0, from_s: 0, to_s: clip.length_s, word: { approved: false, line: null } }
  desk.world.truth.set(clip.id, { sound: change.sound, ...change.line })
  desk.state.takes.push(t)
  delete clip.alone
  return t
}

function finished(clip, t, i, ask, to) {
  const m = { take: t.id, out: `${to}/${(ask.name || '{clip}_married').replace('{clip}', clip.name.replace(/\.\w+$/, ''))}.${ask.sound === 'aac' ? 'mp4' : 'mov'}`, state: 'written', why: [], proof: null }
  if (i % 11 === 5) return { ...m, out: undefined, state: 'failed', error: `write "${m.out}": no space left on the drive; make room, or write elsewhere` }
  if (i % 11 === 7) return { ...m, state: 'passed', why: ['another clip stands there already; to replace it, ask for "again"'] }
  if (i % 11 === 9) m.state = 'kept'
  const windows = Array.from({ length: 40 }, (_, k) => ({ at_s: ((k + 0.5) * clip.length_s) / 40, late_ms: (hash(81, k + i) - 0.5) * t.seam_ms * 2 }))
  const state = i % 11 === 6 ? 'could not tell' : 'in sync'
  m.proof = { state, late_ms: (hash(82, i) - 0.5) * 0.2, late_sigma_ms: 0.02, seam_p95_ms: t.seam_ms, windows: state === 'in sync' ? windows : [], why: state === 'in sync' ? [] : ['too little that both heard'] }
  return m
}
