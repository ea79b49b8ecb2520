// The wall: all takes as mirrors. Only what is seen is in the page.
import { button, fill, h, nextFrame, say } from '../common/dom.js'
import { announce, define, press } from '../common/keys.js'
import { createLooks } from './looks.js'
import { counts, items, refusal, wall } from '../common/state.js'
import { draw, makeTile, palette, write } from './tile.js'
import { count } from '../common/words.js'
import { move, place } from './wallgrid.js'

/** @typedef {import('../types').Item} Item */
/** @typedef {import('../types').Tile} Tile */
/** @typedef {import('../types').Row} Row */

// What is kept while another screen is shown.
const kept = { filter: /** @type {import('../types').Filter} */ ('all'), sort: /** @type {import('../types').Sort} */ ('time'), focus: '', scroll: 0, opened: false }

const filters = /** @type {const} */ ([['look', 'Needs a look'], ['done', 'Done'], ['alone', 'Alone'], ['all', 'All']])
const sorts = /** @type {const} */ ([['time', 'time of day'], ['name', 'name'], ['length', 'length'], ['doubt', 'most doubtful']])
const titles = { takes: 'Takes', alone: 'Alone', failed: 'Could not be read' }

/** @type {import('../types').Open} */
export const openWall = (root, desk) => {
  const w = new Wall(root, desk)
  define('On the wall', w.keys())
  return { close: () => w.close(), key: (e) => press('On the wall', e) }
}

class Wall {
  /** @param {HTMLElement} root @param {import('../types').Desk} desk */
  constructor(root, desk) {
    this.desk = desk
    this.chosen = desk.chosen
    this.anchor = ''
    /** @type {Row[]} */ this.rows = []
    /** @type {Item[]} */ this.list = []
    /** @type {Map<string, number>} */ this.at = new Map()
    /** @type {Map<Row, {el: HTMLElement, tiles: Tile[]}>} */ this.shown = new Map()
    /** @type {{el: HTMLElement, tiles: Tile[]}[]} */ this.spare = []
    this.columns = 0
    this.top = 0 // of the grid in the page, CSS pixels
    this.wave = { w: 0, h: 0 }
    this.paint = palette()
    this.looks = createLooks((id) => this.came(id))
    this.frame = nextFrame(() => this.render())
    this.ui = this.build(root)
    this.stop = new AbortController()
    const { signal } = this.stop
    addEventListener('scroll', () => this.frame(), { passive: true, signal })
    addEventListener('resize', () => this.layout(), { signal })
    addEventListener('theme', () => this.repaint(), { signal })
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.repaint(), { signal })
    this.unsubscribe = desk.store.subscribe((_, p) => {
      if (p.takes || p.recordings || p.gone || p.all) this.frameUpdate()
    })
    this.frameUpdate = nextFrame(() => this.update())
    this.update()
    scrollTo(0, kept.scroll)
    this.render()
    if (kept.focus && kept.opened) this.tile(kept.focus)?.el.focus({ preventScroll: true })
    kept.opened = false
  }

  /** @param {HTMLElement} root */
  build(root) {
    const filterBox = h('fieldset', { class: 'filters' }, h('legend', { class: 'unseen' }, 'Show'), filters.map(([value, text]) => h('label', null,
      h('input', { type: 'radio', name: 'filter', value, checked: kept.filter === value, onchange: () => this.filter(value) }), h('span', null, text, ' ', h('i', { class: 'n' })))))
    const order = h('select', { onchange: () => {
      kept.sort = /** @type {any} */ (order.value)
      this.update(true)
    } }, sorts.map(([value, text]) => h('option', { value, selected: kept.sort === value }, text)))
    const none = h('p', { class: 'none', hidden: true })
    const grid = h('div', { class: 'grid', role: 'grid', 'aria-label': 'Takes', 'aria-multiselectable': 'true', onclick: this.click.bind(this), onfocusin: this.focused.bind(this) })
    const deeds = h('div', { class: 'chosen', role: 'group', 'aria-label': 'What is chosen', hidden: true })
    fill(root, h('h1', { class: 'unseen' }, 'The wall'),
      h('div', { class: 'over' }, filterBox, h('label', { class: 'order' }, h('span', null, 'in order of '), order)),
      none, grid, deeds)
    return { filterBox, none, grid, deeds }
  }

  close() {
    kept.scroll = scrollY
    this.stop.abort()
    this.unsubscribe()
    this.frame.stop()
    this.frameUpdate.stop()
    this.looks.close()
  }

  /** @param {import('../types').Filter} f */
  filter(f) {
    kept.filter = f
    for (const input of this.ui.filterBox.querySelectorAll('input')) input.checked = input.value === f
    this.update(true)
  }

  /** Brings everything in line with the state. @param {boolean} [top] begin at the top */
  update(top) {
    const had = this.ui.grid.contains(document.activeElement)
    const was = this.at.get(kept.focus) ?? 0, kind = this.list[was]?.kind
    const s = this.desk.store.get()
    this.parts = wall(s, kept.filter, kept.sort)
    this.list = this.parts.flatMap((p) => p.items)
    this.at = new Map(this.list.map((i, k) => [i.id, k]))
    for (const id of this.chosen) if (!this.at.has(id)) this.chosen.delete(id)
    const n = counts(items(s))
    for (const label of this.ui.filterBox.querySelectorAll('label')) say(/** @type {Element} */ (label.querySelector('.n')), String(n[/** @type {'all'} */ (label.querySelector('input')?.value)]))
    const words = { look: 'Nothing needs a look.', done: 'No take is done yet.', alone: 'Nothing stands alone.', all: 'Nothing was found yet.' }
    this.ui.none.hidden = this.list.length > 0
    say(this.ui.none, words[kept.filter])
    const stayed = this.stay(was, kind)
    if (top) scrollTo(0, 0)
    this.layout()
    this.tellChosen()
    // Tiles are used for other items now: the focus stays with its item.
    if (!had) return
    if (top || !stayed) this.focus(kept.focus)
    else this.tile(kept.focus)?.el.focus({ preventScroll: true })
  }

  /**
   * Where the one with the focus left its part of the wall, the next one in
   * its place has it now.
   * @param {number} was  its number before
   * @param {Item['kind'] | undefined} kind  and its kind
   * @returns {boolean} whether it stayed
   */
  stay(was, kind) {
    const now = this.list[this.at.get(kept.focus) ?? -1]
    if (now && (!kind || now.kind === kind || now.kind === 'take')) return true
    kept.focus = this.list[Math.min(was, this.list.length - 1)]?.id ?? ''
    return false
  }

  /** Says anew which row is where. */
  layout() {
    const style = getComputedStyle(this.ui.grid)
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize)
    const wide = this.ui.grid.clientWidth
    const gap = parseFloat(style.columnGap) || 24
    const columns = Math.max(1, Math.floor((wide + gap) / (19 * rem + gap)))
    const plan = place(this.parts ?? [], columns, { tile: 10.75 * rem, title: 3.5 * rem })
    this.rows = plan.rows
    this.wave = { w: Math.floor((wide - (columns - 1) * gap) / columns), h: Math.round(5.25 * rem) }
    if (columns !== this.columns) {
      for (const row of this.shown.values()) row.el.remove()
      for (const row of this.spare) row.el.remove()
      this.shown.clear()
      this.spare = []
      this.columns = columns
      this.ui.grid.style.setProperty('--columns', String(columns))
    }
    this.ui.grid.style.height = `${plan.height}px`
    this.ui.grid.setAttribute('aria-rowcount', String(this.rows.length))
    this.ui.grid.setAttribute('aria-colcount', String(columns))
    this.top = this.ui.grid.getBoundingClientRect().top + scrollY
    // Rows are new objects: those on show are taken over by their number.
    const old = [...this.shown]
    this.shown.clear()
    for (const [row, made] of old) {
      const now = this.rows[row.index]
      if (now && !now.title === !row.title && !this.shown.has(now)) this.shown.set(now, made)
      else this.put(made)
    }
    this.render(true)
  }

  /** Keeps a row's elements for another. @param {{el: HTMLElement, tiles: Tile[]}} made */
  put(made) {
    if (made.tiles.length) {
      made.el.hidden = true
      for (const t of made.tiles) t.item = null
      this.spare.push(made)
    } else made.el.remove()
  }

  /** Shows the rows that are seen, and a few about them. @param {boolean} [all] write even what is shown already */
  render(all) {
    const from = scrollY - this.top - 300, to = scrollY - this.top + innerHeight + 300
    const focus = this.rows.find((r) => r.items.some((i) => i.id === kept.focus))
    const seen = this.rows.filter((r) => r === focus || (r.top + r.height > from && r.top < to))
    const keep = new Set(seen)
    for (const [row, made] of this.shown) {
      if (keep.has(row)) continue
      this.shown.delete(row)
      this.put(made)
    }
    for (const row of seen) {
      const made = this.shown.get(row)
      if (made && !all) continue
      const use = made ?? this.rowElement(row)
      this.shown.set(row, use)
      this.writeRow(row, use)
    }
    clearTimeout(this.rest)
    const wish = seen.filter((r) => r.top + r.height > from && r.top < to).flatMap((r) => r.items)
    this.rest = window.setTimeout(() => {
      this.looks.want(wish)
      this.arrange()
    }, 60)
  }

  /** Brings the rows' elements in the order in which they are seen, for those who read on; the one with the focus is not moved, or would lose it. */
  arrange() {
    const rows = [...this.shown].sort(([a], [b]) => a.index - b.index).map(([, made]) => made.el)
    if (rows.every((el, k) => !k || rows[k - 1].compareDocumentPosition(el) & Node.DOCUMENT_POSITION_FOLLOWING)) return
    const here = rows.findIndex((el) => el.contains(document.activeElement))
    for (const [k, el] of rows.entries()) {
      if (k < here) this.ui.grid.insertBefore(el, rows[here])
      else if (k > here) this.ui.grid.append(el)
    }
  }

  /** @param {Row} row */
  rowElement(row) {
    if (row.title) {
      const el = h('div', { class: 'row title', role: 'row' }, h('div', { role: 'gridcell' }, h('h2')))
      this.ui.grid.append(el)
      return { el, tiles: [] }
    }
    const made = this.spare.pop()
    if (made) {
      made.el.hidden = false
      return made
    }
    const tiles = Array.from({ length: this.columns }, makeTile)
    const el = h('div', { class: 'row', role: 'row' }, tiles.map((t) => t.el))
    this.ui.grid.append(el)
    return { el, tiles }
  }

  /** @param {Row} row @param {{el: HTMLElement, tiles: Tile[]}} made */
  writeRow(row, made) {
    made.el.style.transform = `translateY(${row.top}px)`
    made.el.style.height = `${row.height}px`
    made.el.setAttribute('aria-rowindex', String(row.index + 1))
    if (row.title) {
      fill(/** @type {Element} */ (made.el.querySelector('h2')), titles[row.title], h('span', { class: 'quiet' }, ` ${row.n}`))
      return
    }
    for (const [k, tile] of made.tiles.entries()) {
      const item = row.items[k]
      tile.el.hidden = !item
      if (!item) {
        tile.item = null
        continue
      }
      const other = tile.item?.id !== item.id
      tile.item = item
      tile.el.dataset.id = item.id
      write(tile, item)
      this.mark(tile)
      const look = this.looks.of(item)
      if (other || look.columns !== tile.look?.columns || look.picture !== tile.look?.picture || tile.w !== this.wave.w) this.draw(tile, look)
    }
  }

  /** @param {Tile} tile @param {import('../types').Look} look */
  draw(tile, look) {
    tile.w = this.wave.w
    draw(tile, look, this.paint, this.wave)
  }

  /** Which is chosen and which takes the keys. @param {Tile} tile */
  mark(tile) {
    const id = tile.item?.id ?? ''
    tile.el.setAttribute('aria-selected', String(this.chosen.has(id)))
    tile.el.tabIndex = id === kept.focus ? 0 : -1
  }

  markAll() {
    for (const made of this.shown.values()) for (const t of made.tiles) if (t.item) this.mark(t)
    this.tellChosen()
  }

  /** @param {string} id */
  came(id) {
    const tile = this.tile(id)
    if (tile?.item) this.draw(tile, this.looks.of(tile.item))
  }

  repaint() {
    this.paint = palette()
    for (const made of this.shown.values()) for (const t of made.tiles) if (t.item) this.draw(t, this.looks.of(t.item))
  }

  /** @param {string} id @returns {Tile | undefined} */
  tile(id) {
    for (const made of this.shown.values()) for (const t of made.tiles) if (t.item?.id === id) return t
  }

  /** @param {Event} e */
  idOf(e) {
    return /** @type {HTMLElement | null} */ (/** @type {Element} */ (e.target).closest('.tile'))?.dataset.id ?? ''
  }

  /** @param {FocusEvent} e */
  focused(e) {
    const id = this.idOf(e)
    if (!id || id === kept.focus) return
    kept.focus = id
    this.markAll()
  }

  /** @param {MouseEvent} e */
  click(e) {
    const id = this.idOf(e)
    if (!id) return
    if (e.shiftKey) this.chooseTo(id)
    else if (e.ctrlKey || e.metaKey) this.choose(id)
    else this.go(id)
  }

  /** @param {string} id */
  choose(id) {
    if (!this.chosen.delete(id)) this.chosen.add(id)
    this.anchor = id
    this.markAll()
  }

  /** @param {string} id */
  chooseTo(id) {
    const a = this.at.get(this.anchor) ?? this.at.get(kept.focus) ?? 0
    const b = this.at.get(id) ?? 0
    for (const i of this.list.slice(Math.min(a, b), Math.max(a, b) + 1)) this.chosen.add(i.id)
    this.markAll()
  }

  /** @param {string} id */
  go(id) {
    kept.focus = id
    kept.opened = true
    const item = this.list[this.at.get(id) ?? -1]
    if (item?.take || item?.recording.kind === 'clip') this.desk.go(`#/take/${encodeURIComponent(id)}`)
    else if (item) this.desk.tell(item.name, item.recording.error || item.recording.alone?.join('; ') || '')
  }

  /** Gives an item the focus and shows it. @param {string | undefined} id */
  focus(id) {
    if (!id) return
    kept.focus = id
    const row = this.rows.find((r) => r.items.some((i) => i.id === id))
    if (!row) return
    const top = row.top + this.top - 90, bottom = row.top + row.height + this.top + 70
    if (top < scrollY) scrollTo(0, Math.max(0, top))
    else if (bottom > scrollY + innerHeight) scrollTo(0, bottom - innerHeight)
    this.render()
    this.markAll()
    this.tile(id)?.el.focus({ preventScroll: true })
  }

  /** @param {KeyboardEvent} e */
  step(e) {
    if (!this.list.length) return false
    if (!this.ui.grid.contains(document.activeElement)) return this.focus(kept.focus)
    const from = this.list[this.at.get(kept.focus) ?? 0].id
    const rows = Math.max(1, Math.floor((innerHeight - 160) / (this.rows.find((r) => !r.title)?.height ?? 172)))
    const to = move(this.rows, from, e.key, rows)
    if (e.shiftKey && to) {
      this.anchor ||= from
      this.chosen.add(from)
      this.chooseTo(to)
    }
    this.focus(to)
  }

  /** Takes that a deed is for: those chosen, else the one with the focus. */
  targets() {
    const ids = this.chosen.size ? this.list.filter((i) => this.chosen.has(i.id)) : this.list.filter((i) => i.id === kept.focus)
    return ids.flatMap((i) => i.take ?? [])
  }

  /** @param {string} done @param {(t: import('../types').Take) => import('../types').Change} change */
  async each(done, change) {
    const takes = this.targets()
    if (!takes.length) return this.desk.tell('There is no take among these', 'what is alone has no sound to say anything of')
    try {
      await this.desk.api.words(takes.map((t) => ({ take: t.id, change: change(t) })))
      this.desk.tell(`${done}: ${count(takes.length, 'take')}`)
    } catch (err) {
      this.desk.fail(err)
    }
  }

  approve() {
    const approved = !this.targets().every((t) => t.word.approved)
    return this.each(approved ? 'Approved' : 'No longer approved', () => ({ approved }))
  }

  refuse() {
    return this.each('Sound refused', refusal)
  }

  marry() {
    for (const t of this.targets()) this.chosen.add(t.id)
    this.desk.go('#/done')
  }

  clear() {
    if (!this.chosen.size) return false
    this.chosen.clear()
    this.markAll()
  }

  all() {
    for (const i of this.list) this.chosen.add(i.id)
    this.markAll()
  }

  tellChosen() {
    const n = this.chosen.size
    const had = this.ui.deeds.contains(document.activeElement)
    this.ui.deeds.hidden = !n
    if (!n) return
    if (this.ui.deeds.childElementCount) say(/** @type {Element} */ (this.ui.deeds.firstElementChild), `${n} chosen`)
    else {
      fill(this.ui.deeds, h('b', { role: 'status' }, `${n} chosen`), button('Approve', () => this.approve()), button('Marry', () => this.marry()), button('Refuse the sound', () => this.refuse()),
        button('Choose all', () => this.all()), button('Choose none', () => this.clear()))
    }
    if (had && !this.ui.deeds.contains(document.activeElement)) this.focus(kept.focus)
  }

  /** @returns {import('../common/keys.js').Row[]} */
  keys() {
    const arrows = ['ArrowLeft', 'ArrowRight', 'ArrowUp', 'ArrowDown']
    const step = (/** @type {KeyboardEvent} */ e) => this.step(e)
    return [
      { keys: arrows, shown: ['Arrows'], says: 'from take to take', run: step },
      { keys: ['Home', 'End'], says: 'the first, the last', run: step },
      { keys: ['PageUp', 'PageDown'], says: 'a page up or down', run: step },
      { keys: ['Shift+ArrowLeft', 'Shift+ArrowRight', 'Shift+ArrowUp', 'Shift+ArrowDown'], shown: ['Shift+Arrows'], says: 'choose along the way', run: step },
      { keys: ['Enter'], says: 'look at it closely', run: () => (this.ui.grid.contains(document.activeElement) ? this.go(kept.focus) : false) },
      { keys: ['Space'], says: 'choose it, or no longer', run: () => (this.ui.grid.contains(document.activeElement) ? this.choose(kept.focus) : false) },
      { keys: ['Mod+a'], says: 'choose all that are shown', run: () => this.all() },
      { keys: ['Escape'], says: 'choose none', run: () => this.clear() },
      { keys: ['a'], says: 'approve, or no longer', run: () => void this.approve() },
      { keys: ['x'], says: 'refuse the sound: it does not belong there', run: () => void this.refuse() },
      { keys: ['m'], says: 'marry what is chosen', run: () => this.marry() },
      ...filters.map(([f, text], i) => ({ keys: [String(i + 1)], says: `show: ${text.toLowerCase()}`, run: () => this.filter(f) })),
    ]
  }
}

announce('On the wall', Wall.prototype.keys())
