// Where shores and clips lie in the view of the day: numbers only.

/** @typedef {import('../types').Recording} Recording */

/** @typedef {import('../types').Lane} Lane */

export const sizes = { label: 24, shore: 64, clip: 74, gap: 28 } // CSS pixels at 16 px to the rem

const from = (/** @type {Recording} */ r) => r.day_s ?? 0
const to = (/** @type {Recording} */ r) => (r.day_s ?? 0) + r.length_s

/**
 * Puts recordings on as few lines as hold them without overlap.
 * @template T
 * @param {T[]} list
 * @param {(x: T) => [number, number]} span  seconds
 * @param {number} room  seconds between two on one line
 * @returns {T[][]}
 */
export function pack(list, span, room = 0) {
  /** @type {{end: number, held: T[]}[]} */
  const lines = []
  for (const x of [...list].sort((a, b) => span(a)[0] - span(b)[0])) {
    const [begin, end] = span(x)
    let line = lines.find((l) => l.end + room <= begin)
    if (!line) lines.push((line = { end: 0, held: [] }))
    line.held.push(x)
    line.end = end
  }
  return lines.map((l) => l.held)
}

/**
 * Lays out a day. The last lane is of clips that no sound heard; it has no
 * sounds, and is not there where there are none.
 * @param {ReturnType<typeof import('../common/state.js').day>} d
 * @param {number} scale  CSS pixels to the rem / 16
 * @returns {{lanes: Lane[], height: number}}
 */
export function lanes(d, scale) {
  /** @type {Lane[]} */
  const out = []
  let top = 0
  const add = (/** @type {Recording[]} */ sounds, /** @type {Recording[]} */ clips, /** @type {number} */ shore) => {
    const water = top + (sizes.label + shore) * scale
    const lines = pack(clips, (c) => [from(c), to(c)])
    const height = (sizes.label + shore + Math.max(1, lines.length) * sizes.clip + sizes.gap) * scale
    out.push({ top, water, height, sounds, clips: lines.flatMap((l, k) => l.map((clip) => ({ clip, top: water + k * sizes.clip * scale }))) })
    top += height
  }
  const span = (/** @type {import('../types').Along} */ s) => /** @type {[number, number]} */ ([Math.min(from(s.sound), ...s.clips.map(from)), Math.max(to(s.sound), ...s.clips.map(to))])
  for (const line of pack(d.shores, span)) add(line.map((s) => s.sound), line.flatMap((s) => s.clips), sizes.shore)
  if (d.alone.length) add([], d.alone, 0)
  return { lanes: out, height: top }
}

/** From where to where anything was recorded, seconds on the shoot's clock; null of nothing. @param {Lane[]} all */
export function extent(all) {
  let begin = Infinity, end = -Infinity
  for (const r of all.flatMap((l) => [...l.sounds, ...l.clips.map((c) => c.clip)])) {
    begin = Math.min(begin, from(r))
    end = Math.max(end, to(r))
  }
  return begin < end ? { begin, end } : null
}

/**
 * Where an arrow leads from a clip: left and right in time along its lane,
 * up and down to what lies nearest in time there.
 * @param {Lane[]} all
 * @param {string} id
 * @param {string} key
 * @returns {string | undefined}
 */
export function neighbour(all, id, key) {
  const filled = all.filter((l) => l.clips.length).map((l) => l.clips.map((c) => c.clip).sort((a, b) => from(a) - from(b)))
  const y = filled.findIndex((l) => l.some((c) => c.id === id))
  if (y < 0) return filled[0]?.[0].id
  const x = filled[y].findIndex((c) => c.id === id)
  const here = from(filled[y][x])
  const near = (/** @type {Recording[] | undefined} */ l) => l?.reduce((a, b) => (Math.abs(from(b) - here) < Math.abs(from(a) - here) ? b : a)).id
  switch (key) {
    case 'ArrowLeft': return filled[y][x - 1]?.id
    case 'ArrowRight': return filled[y][x + 1]?.id
    case 'ArrowUp': return near(filled[y - 1])
    case 'ArrowDown': return near(filled[y + 1])
    case 'Home': return filled[y][0].id
    case 'End': return filled[y][filled[y].length - 1].id
  }
}
