// One tile of the wall: its elements, and its mirror on a canvas.
import { colour, h, say } from '../common/dom.js'
import { clock, spoken, told } from '../common/words.js'

/** @typedef {import('../types').Item} Item */
/** @typedef {import('../types').Look} Look */
/** @typedef {import('../types').Tile} Tile */

export const palette = () => ({
  land: colour('--land'), landDeep: colour('--land-deep'), water: colour('--water'), waterDeep: colour('--water-deep'), rule: colour('--line'), sunk: colour('--sunk'),
})

/** @typedef {ReturnType<typeof palette>} Palette */

/** How high a level stands: quiet ones are raised, so that they can be seen in a small picture. @param {number} v 0 to 255 */
const lift = (v) => (v / 255) ** 0.7

/**
 * Draws a shore and its reflection into a rectangle.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Uint8Array} c  columns of four
 * @param {{x: number, y: number, w: number, h: number}} box
 * @param {Palette} p
 */
export function drawMirror(ctx, c, box, p) {
  const n = c.length / 4
  const middle = box.y + box.h / 2
  const half = box.h / 2 - 1
  const shapes = /** @type {const} */ ([[0, -1, p.land], [2, 1, p.water], [1, -1, p.landDeep], [3, 1, p.waterDeep]])
  for (const [member, way, paint] of shapes) {
    ctx.beginPath()
    ctx.moveTo(box.x, middle)
    for (let k = 0; k < n; k++) ctx.lineTo(box.x + ((k + 0.5) * box.w) / n, middle + way * half * lift(c[4 * k + member]))
    ctx.lineTo(box.x + box.w, middle)
    ctx.fillStyle = paint
    ctx.fill()
  }
  ctx.fillStyle = p.rule
  ctx.fillRect(box.x, middle - 0.5, box.w, 1)
}

/**
 * A tile, to be used for one item after another.
 * @returns {Tile}
 */
export function makeTile() {
  const canvas = h('canvas', { 'aria-hidden': 'true' })
  const name = h('span', { class: 'name' }), length = h('span', { class: 'length' }), word = h('b'), why = h('span')
  const el = h('div', { class: 'tile', role: 'gridcell', tabIndex: -1 },
    h('div', { class: 'top' }, name, length), canvas, h('p', { class: 'told' }, word, why))
  return { el, canvas, name, length, word, why, item: null, look: null, w: 0 }
}

/** Puts an item's words on a tile. @param {Tile} tile @param {Item} item */
export function write(tile, item) {
  const { word, why } = told(item)
  const r = item.recording
  say(tile.name, item.name)
  say(tile.length, r.length_s ? clock(r.length_s) : '')
  say(tile.word, word)
  say(tile.why, why)
  tile.el.className = `tile ${item.kind}${item.take?.status === 'look' ? ' look' : ''}${item.take?.word.approved ? ' approved' : ''}`
  const renamed = item.name !== r.name ? `, ${r.name}` : ''
  tile.el.setAttribute('aria-label', `${item.name}${renamed}. ${r.length_s ? spoken(r.length_s) + '. ' : ''}${word}${why ? ': ' + why : ''}${heard(item)}`)
}

/** What the mirror shows, in words. @param {Item} item */
function heard(item) {
  const t = item.take
  if (!t) return ''
  const gap = 0.5
  if (t.from_s < gap && t.to_s > item.recording.length_s - gap) return '. Good sound all along.'
  return `. Good sound from ${clock(t.from_s)} to ${clock(t.to_s)}.`
}

/**
 * Draws what there is of an item.
 * @param {Tile} tile
 * @param {Look} look
 * @param {Palette} p
 * @param {{w: number, h: number}} size  CSS pixels
 */
export function draw(tile, look, p, size) {
  const scale = Math.min(2, devicePixelRatio || 1)
  const ctx = tile.canvas.getContext('2d')
  if (!ctx) return
  const w = Math.round(size.w * scale), high = Math.round(size.h * scale)
  if (tile.canvas.width !== w || tile.canvas.height !== high) {
    tile.canvas.width = w
    tile.canvas.height = high
  } else ctx.clearRect(0, 0, w, high)
  tile.look = { ...look }
  const frame = tile.item?.recording.kind === 'clip' || tile.item?.recording.picture ? Math.round(high * 0.9) : 0
  if (frame) {
    ctx.fillStyle = p.sunk
    ctx.fillRect(0, 0, frame, high)
    if (look.picture) cover(ctx, look.picture, frame, high)
  }
  const gap = frame ? Math.round(8 * scale) : 0
  const box = { x: frame + gap, y: 0, w: w - frame - gap, h: high }
  if (look.columns) drawMirror(ctx, look.columns, box, p)
  else {
    ctx.fillStyle = p.rule
    ctx.fillRect(box.x, high / 2 - 0.5, box.w, 1)
  }
}

/** The middle of a picture, filling w by h. @param {CanvasRenderingContext2D} ctx @param {ImageBitmap} picture @param {number} w @param {number} high */
function cover(ctx, picture, w, high) {
  const s = Math.max(w / picture.width, high / picture.height)
  const sw = w / s, sh = high / s
  ctx.drawImage(picture, (picture.width - sw) / 2, (picture.height - sh) / 2, sw, sh, 0, 0, w, high)
}
