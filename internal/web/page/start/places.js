// The dialog for adding folders: a browser of this machine's places.
import { button, fill, h } from '../common/dom.js'
import { announce } from '../common/keys.js'
import { bytes, count } from '../common/words.js'

/** @typedef {import('../types').Folder} Folder */

/**
 * @param {import('../types').Desk} desk
 * @param {() => void} added  called before something is added
 */
export function openPlaces(desk, added) {
  new Places(desk, added)
}

const last = { path: '' } // where one was, for the next time

class Places {
  /** @param {import('../types').Desk} desk @param {() => void} added */
  constructor(desk, added) {
    this.desk = desk
    this.added = added
    this.stop = new AbortController()
    this.crumbs = h('ol', { class: 'crumbs' })
    this.list = h('ul', { class: 'inside' })
    this.wrong = h('p', { class: 'wrong', role: 'alert', hidden: true })
    this.deed = button('Add this folder', () => this.add([this.path], this.path), { class: 'deed' })
    this.path = ''
    /** @type {import('../types').Place[]} */
    this.places = []
    this.sheet = h('dialog', { class: 'sheet places', 'aria-labelledby': 'places-title', onclose: () => this.close(), onkeydown: (/** @type {KeyboardEvent} */ e) => this.key(e) },
      h('header', null, h('h2', { id: 'places-title' }, 'Add folders'), button('Close', () => void this.sheet.close())),
      h('nav', { 'aria-label': 'Where you are' }, this.crumbs), this.wrong, this.list,
      h('footer', null, h('p', { class: 'small quiet' }, 'Folders are searched to the bottom, and nothing in them is changed.'), this.deed))
    document.body.append(this.sheet)
    this.sheet.showModal()
    this.begin()
  }

  close() {
    this.stop.abort()
    this.sheet.remove()
  }

  async begin() {
    try {
      this.places = (await this.desk.api.places(this.stop.signal)).places ?? []
    } catch (err) {
      return this.fail(err)
    }
    this.go(last.path)
  }

  /** Shows a folder, "" all places. @param {string} path @param {string} [from] the folder one comes up from @returns {Promise<void>} */
  async go(path, from) {
    try {
      const f = path ? await this.desk.api.folder(path, this.stop.signal) : null
      this.path = last.path = path
      this.wrong.hidden = true
      this.way(f)
      this.show(f, from)
    } catch (err) {
      if (path && path === last.path) { // what was open the last time is no more
        last.path = ''
        return this.go('')
      }
      this.fail(err)
    }
  }

  /** @param {unknown} err */
  fail(err) {
    if (this.stop.signal.aborted) return
    const e = /** @type {{message: string, hint?: string}} */ (err)
    this.wrong.hidden = false
    fill(this.wrong, e.message, e.hint ? ` (${e.hint})` : '')
  }

  /** @param {Folder | null} f */
  way(f) {
    const place = this.places.find((p) => f && (f.path === p.path || f.path.startsWith(p.path.replace(/[/\\]$/, '') + (p.path.includes('\\') ? '\\' : '/'))))
    const steps = [{ name: 'This machine', path: '' }]
    if (f && place) steps.push(...crumbs(place, f.path))
    fill(this.crumbs, steps.map((s, i) => h('li', null, i === steps.length - 1 ? h('b', { 'aria-current': 'location' }, s.name) : button(s.name, () => this.go(s.path)))))
    this.deed.hidden = !f
  }

  /** @param {Folder | null} f @param {string} [from] */
  show(f, from) {
    const n = (/** @type {number} */ k) => (k ? count(k, 'recording') : '')
    const line = (/** @type {string} */ name, /** @type {string} */ path, /** @type {string} */ what, /** @type {boolean} */ folder) => h('li', null,
      folder ? button(name, () => this.go(path), { class: 'plain folder', 'data-path': path }) : h('span', null, name),
      h('span', { class: 'quiet' }, what),
      f ? button('Add', () => this.add([path], name), { 'aria-label': `Add ${name}` }) : null)
    const lines = f ? [...(f.folders ?? []).map((d) => line(d.name, d.path, n(d.recordings), true)), ...(f.recordings ?? []).map((r) => line(r.name, r.path, bytes(r.bytes), false))]
      : this.places.map((p) => line(p.name, p.path, p.kind === 'drive' ? 'drive or card' : '', true))
    fill(this.list, lines.length ? lines : h('li', { class: 'quiet' }, f ? 'Nothing here that can be added.' : 'No place was found.'))
    const rows = this.rows()
    const back = rows.find((b) => b.dataset.path === from) ?? rows[0]
    if (back) back.focus()
    else this.deed.focus()
    this.list.scrollTop = from ? this.list.scrollTop : 0
  }

  rows() {
    return /** @type {HTMLElement[]} */ ([...this.list.querySelectorAll('.folder')])
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const rows = this.rows()
    const at = rows.findIndex((r) => r.parentElement?.contains(document.activeElement))
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: rows.length - 1 }[e.key]
    if (to !== undefined && rows.length) rows[Math.max(0, Math.min(rows.length - 1, to))].focus()
    else if (e.key === 'ArrowRight' && at >= 0) rows[at].click()
    else if ((e.key === 'ArrowLeft' || e.key === 'Backspace') && this.path) this.up()
    else return
    e.preventDefault()
  }

  up() {
    const steps = /** @type {HTMLElement[]} */ ([...this.crumbs.querySelectorAll('button')])
    const from = this.path
    const place = this.places.find((p) => p.path === from)
    if (place || steps.length < 2) return this.go('', from)
    this.desk.api.folder(from, this.stop.signal).then((f) => this.go(f.up, from)).catch((err) => this.fail(err))
  }

  /** @param {string[]} paths @param {string} name */
  async add(paths, name) {
    try {
      this.added()
      await this.desk.api.add(paths)
      this.sheet.close()
      this.desk.tell(`Added ${name}`)
    } catch (err) {
      this.fail(err)
    }
  }
}

announce('Among folders', [
  { keys: ['ArrowUp', 'ArrowDown'], says: 'the folder above, below' },
  { keys: ['Home', 'End'], says: 'the first, the last' },
  { keys: ['Enter', 'ArrowRight'], says: 'into it' },
  { keys: ['Backspace', 'ArrowLeft'], says: 'out of it' },
  { keys: ['Escape'], says: 'close' },
])

/**
 * The steps from a place to a folder in it, the place first.
 * @param {{name: string, path: string}} place
 * @param {string} path
 */
export function crumbs(place, path) {
  const mark = place.path.includes('\\') ? '\\' : '/'
  const steps = [{ name: place.name, path: place.path }]
  let at = place.path.replace(/[/\\]$/, '')
  for (const part of path.slice(place.path.length).split(mark).filter(Boolean)) {
    at += mark + part
    steps.push({ name: part, path: at })
  }
  return steps
}
