// All keys of the page, in one table: what a screen registers here works, and
// stands in the help sheet.

/**
 * @typedef {object} Row
 * @property {string[]} keys    as chord names them: "j", "Shift+ArrowLeft", "Mod+z" (Ctrl or Cmd)
 * @property {string} says      what it does, in the help sheet; "" is not listed
 * @property {string[]} [shown]  how the sheet names the keys, where that is shorter
 * @property {(event: KeyboardEvent) => unknown} [run]  absent where the screen handles it by itself; false: not handled
 */

/** @type {Map<string, Row[]>} */
const table = new Map()

/**
 * Says which keys a place knows, in the place of what was said before.
 * @param {string} place  heading in the help sheet: "Anywhere", "On the wall", "At a take", ...
 * @param {Row[]} rows
 */
export function define(place, rows) {
  table.delete(place)
  table.set(place, rows)
}

/**
 * Says which keys a place will know once it is shown, for the help sheet.
 * @param {string} place
 * @param {Row[]} rows  without what they run
 */
export function announce(place, rows) {
  const others = [...table].filter(([p]) => p !== place)
  table.clear()
  table.set(place, rows.map(({ run, ...row }) => row))
  for (const [p, r] of others) table.set(p, r)
}

/** All places with their keys: what works anywhere, then the place defined last, then those before. */
export const places = () => [...table].reverse().sort(([a], [b]) => Number(b === 'Anywhere') - Number(a === 'Anywhere'))
  .map(([place, rows]) => ({ place, rows: rows.filter((r) => r.says) }))

/**
 * What was pressed, by the name the table uses.
 * @param {Pick<KeyboardEvent, 'key' | 'ctrlKey' | 'metaKey' | 'altKey' | 'shiftKey'>} e
 */
export function chord(e) {
  const one = e.key.length === 1
  const key = e.key === ' ' ? 'Space' : one && (e.ctrlKey || e.metaKey || /[A-Z]/.test(e.key)) ? e.key.toLowerCase() : e.key
  const shift = e.shiftKey && (!one || key === 'Space' || /[a-z]/.test(key))
  return (e.ctrlKey || e.metaKey ? 'Mod+' : '') + (e.altKey ? 'Alt+' : '') + (shift ? 'Shift+' : '') + key
}

/**
 * Runs what a key does at a place.
 * @param {string} place
 * @param {KeyboardEvent} event
 * @returns {boolean} whether it does anything there
 */
export function press(place, event) {
  const pressed = chord(event)
  const row = table.get(place)?.find((r) => r.run && r.keys.includes(pressed))
  if (!row || row.run?.(event) === false) return false
  event.preventDefault()
  return true
}

/** Whether keys go to what is written in. @param {EventTarget | null} target */
export const writing = (target) => target instanceof HTMLElement && (target.isContentEditable || /^(TEXTAREA|SELECT)$/.test(target.tagName) || (target instanceof HTMLInputElement && !/^(checkbox|radio|button|submit|range)$/.test(target.type)))

const symbols = /** @type {Record<string, string>} */ ({ ArrowLeft: '←', ArrowRight: '→', ArrowUp: '↑', ArrowDown: '↓', Escape: 'Esc', PageUp: 'Page up', PageDown: 'Page down' })

/** A chord as it is printed: ["Ctrl", "Z"]. @param {string} keys @param {boolean} mac @returns {string[]} */
export const printed = (keys, mac) => keys.split(/\+(?=.)/).map((k) => (k === 'Mod' ? (mac ? 'Cmd' : 'Ctrl') : k === 'Alt' && mac ? 'Option' : symbols[k] ?? (k.length === 1 ? k.toUpperCase() : k)))
