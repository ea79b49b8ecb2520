// The shoot as the page knows it: the program's State, kept whole by patches.
// Nothing here touches the page.

/** @typedef {import('../types').State} State */
/** @typedef {import('../types').Patch} Patch */
/** @typedef {import('../types').Recording} Recording */
/** @typedef {import('../types').Take} Take */
/** @typedef {import('../types').Item} Item */
/** @typedef {import('../types').Filter} Filter */
/** @typedef {import('../types').Sort} Sort */
/** @typedef {import('../types').Part} Part */

/** What is shown before the program has said anything. @returns {State} */
export const nothing = () => ({
  version: 0, shoot: { folder: '', name: '', paths: [] }, work: { busy: false, done: 0, total: 0 }, recordings: [], takes: [],
  undo: null, redo: null, marriage: { busy: false, done: 0, total: 0, to: '', clips: [] }, notes: [],
})

/**
 * A list with members put in by id: in the place of the old, or at the end.
 * @template {{id: string}} T
 * @param {T[]} list
 * @param {T[] | undefined} members
 * @param {Set<string>} gone
 * @returns {T[]} the same list where nothing changed
 */
function merge(list, members, gone) {
  const left = gone.size && list.some((m) => gone.has(m.id)) ? list.filter((m) => !gone.has(m.id)) : list
  if (!members?.length) return left
  const fresh = new Map(members.map((m) => [m.id, m]))
  const merged = left.map((m) => {
    const now = fresh.get(m.id)
    fresh.delete(m.id)
    return now ?? m
  })
  return [...merged, ...fresh.values()]
}

/**
 * The state after a patch. A clip and its take share an id; what is gone goes
 * before what the patch brings is put in.
 * @param {State} state
 * @param {Patch} p
 * @returns {State}
 */
export function reduce(state, p) {
  const old = p.all ? nothing() : state
  const gone = new Set(p.gone ?? [])
  return {
    version: p.version,
    shoot: p.shoot ?? old.shoot,
    work: p.work ?? old.work,
    recordings: merge(old.recordings, p.recordings, gone),
    takes: merge(old.takes, p.takes, gone),
    undo: p.history ? p.history.undo : old.undo,
    redo: p.history ? p.history.redo : old.redo,
    marriage: p.marriage ?? old.marriage,
    notes: p.notes ?? old.notes,
  }
}

/** @type {WeakMap<readonly any[], Map<string, any>>} */
const indexes = new WeakMap()

/** @template {{id: string}} T @param {T[]} list @returns {Map<string, T>} */
function index(list) {
  let m = indexes.get(list)
  if (!m) indexes.set(list, (m = new Map(list.map((x) => [x.id, x]))))
  return m
}

/** @param {State} s @param {string} id @returns {Recording | undefined} */
export const recording = (s, id) => index(s.recordings).get(id)

/** @param {State} s @param {string} id @returns {Take | undefined} */
export const take = (s, id) => index(s.takes).get(id)

/** Whether nothing was added yet. @param {State} s */
export const empty = (s) => !s.recordings.length && !s.shoot.paths?.length

/**
 * What stands on the wall: every clip, and every sound that belongs to none.
 * @param {State} s
 * @returns {Item[]}
 */
export function items(s) {
  /** @type {Item[]} */
  const list = []
  for (const r of s.recordings) {
    const t = take(s, r.id)
    if (t) list.push({ id: r.id, kind: 'take', recording: r, take: t, name: t.word.name || r.name })
    else if (r.state === 'failed') list.push({ id: r.id, kind: 'failed', recording: r, take: undefined, name: r.name })
    else if (r.alone?.length) list.push({ id: r.id, kind: 'alone', recording: r, take: undefined, name: r.name })
    else if (r.kind === 'clip') list.push({ id: r.id, kind: 'waiting', recording: r, take: undefined, name: r.name })
  }
  return list
}

/** @param {Item} i @param {Filter} f */
export function passes(i, f) {
  if (f === 'all') return true
  return i.kind === 'take' ? i.take?.status === f : f === 'alone' && i.kind !== 'waiting'
}

/** How many pass each filter. @param {Item[]} list */
export function counts(list) {
  const n = { look: 0, done: 0, alone: 0, all: list.length }
  for (const i of list) for (const f of /** @type {const} */ (['look', 'done', 'alone'])) if (passes(i, f)) n[f]++
  return n
}

const byName = new Intl.Collator('en', { numeric: true }).compare
/** @param {number | null} a @param {number | null} b nulls last */
const earlier = (a, b) => (a ?? Infinity) === (b ?? Infinity) ? 0 : (a ?? Infinity) < (b ?? Infinity) ? -1 : 1
/** @param {Item} i the more, the sooner it wants a look */
const doubt = (i) => (i.take ? (i.take.status === 'look' ? 1 : 0) + i.take.chance_of_error : -1)

/** @type {Record<Sort, (a: Item, b: Item) => number>} */
const orders = {
  time: (a, b) => earlier(a.recording.day_s, b.recording.day_s),
  name: () => 0,
  length: (a, b) => b.recording.length_s - a.recording.length_s,
  doubt: (a, b) => doubt(b) - doubt(a),
}

/**
 * A list in order; what is equal is in order of name, then of id.
 * @param {Item[]} list
 * @param {Sort} by
 */
export const sorted = (list, by) => [...list].sort((a, b) => orders[by](a, b) || byName(a.name, b.name) || (a.id < b.id ? -1 : 1))

/**
 * The wall in its parts, takes first; empty parts are left out.
 * @param {State} s
 * @param {Filter} f
 * @param {Sort} by
 * @returns {Part[]}
 */
export function wall(s, f, by) {
  const list = sorted(items(s).filter((i) => passes(i, f)), by)
  /** @type {Part[]} */
  const parts = [{ part: 'takes', items: [] }, { part: 'alone', items: [] }, { part: 'failed', items: [] }]
  for (const i of list) parts[i.kind === 'alone' ? 1 : i.kind === 'failed' ? 2 : 0].items.push(i)
  return parts.filter((p) => p.items.length)
}

/**
 * The day: each sound with the clips along it, by their place on the shoot's
 * clock, then what nothing ties to it.
 * @param {State} s
 */
export function day(s) {
  /** @type {Map<string, import('../types').Along>} */
  const shores = new Map()
  /** @type {Recording[]} */
  const alone = [], loose = []
  for (const r of s.recordings) {
    if (r.day_s === null || r.state === 'failed') {
      if (r.state === 'read') loose.push(r)
    } else if (r.kind === 'sound') shores.set(r.id, { sound: r, clips: [] })
  }
  for (const r of s.recordings) {
    if (r.kind !== 'clip' || r.day_s === null || r.state === 'failed') continue
    const shore = shores.get(take(s, r.id)?.sound ?? '')
    if (shore) shore.clips.push(r)
    else alone.push(r)
  }
  const early = (/** @type {Recording} */ a, /** @type {Recording} */ b) => earlier(a.day_s, b.day_s) || byName(a.name, b.name)
  for (const shore of shores.values()) shore.clips.sort(early)
  return { shores: [...shores.values()].sort((a, b) => early(a.sound, b.sound)), alone: alone.sort(early), loose: loose.sort(early) }
}

/** @returns {import('../types').Store} */
export function createStore() {
  let state = nothing()
  /** @type {Set<(state: State, patch: Patch) => void>} */
  const listeners = new Set()
  return {
    get: () => state,
    apply(patch) {
      state = reduce(state, patch)
      for (const fn of [...listeners]) fn(state, patch)
    },
    subscribe(fn) {
      listeners.add(fn)
      return () => listeners.delete(fn)
    },
  }
}

/** What says that a take's sound does not belong to it: what was said of the two together, where it lies and that it is right, goes with it.
 * @param {import('../types').Take} t @returns {import('../types').Change} */
export function refusal({ sound, word }) {
  const refused = [...new Set([...(word.refused ?? []), sound])]
  return { refused, ...(word.sound ? { sound: '' } : {}), ...(word.line ? { line: null } : {}), ...(word.approved ? { approved: false } : {}) }
}
