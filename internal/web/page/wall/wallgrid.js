// Where the wall's rows lie, and where keys lead on it: numbers only.

/** @typedef {import('../types').Item} Item */
/** @typedef {import('../types').Row} Row */

/**
 * Lays parts out in rows. A single part of takes needs no title.
 * @param {import('../types').Part[]} parts
 * @param {number} columns
 * @param {{tile: number, title: number}} heights
 */
export function place(parts, columns, heights) {
  /** @type {Row[]} */
  const rows = []
  let top = 0
  const add = (/** @type {Row['title']} */ title, /** @type {number} */ n, /** @type {Item[]} */ items) => {
    const height = title ? heights.title : heights.tile
    rows.push({ index: rows.length, top, height, title, n, items })
    top += height
  }
  for (const { part, items } of parts) {
    if (parts.length > 1 || part !== 'takes') add(part, items.length, [])
    for (let k = 0; k < items.length; k += columns) add('', 0, items.slice(k, k + columns))
  }
  return { rows, height: top }
}

/**
 * Where a key leads from an item.
 * @param {Row[]} rows
 * @param {string} from  id
 * @param {string} key   an arrow, Home, End, PageUp or PageDown
 * @param {number} page  rows of tiles that a page holds
 * @returns {string | undefined} id
 */
export function move(rows, from, key, page) {
  const lines = rows.filter((r) => r.items.length).map((r) => r.items.map((i) => i.id))
  const flat = lines.flat()
  const y = lines.findIndex((l) => l.includes(from))
  if (y < 0) return flat[0]
  const x = lines[y].indexOf(from)
  const k = flat.indexOf(from)
  const row = (/** @type {number} */ to) => {
    const line = lines[Math.max(0, Math.min(lines.length - 1, to))]
    return line[Math.min(x, line.length - 1)]
  }
  switch (key) {
    case 'ArrowLeft': return flat[Math.max(0, k - 1)]
    case 'ArrowRight': return flat[Math.min(flat.length - 1, k + 1)]
    case 'ArrowUp': return row(y - 1)
    case 'ArrowDown': return row(y + 1)
    case 'PageUp': return row(y - page)
    case 'PageDown': return row(y + page)
    case 'Home': return flat[0]
    case 'End': return flat[flat.length - 1]
  }
}
