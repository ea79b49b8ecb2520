// The beginning: two banks, one for what the cameras wrote, one for what the
// recorders wrote. They rise as recordings come.
import { button, fill, h, nextFrame, say } from '../common/dom.js'
import { createLooks } from '../wall/looks.js'
import { openPlaces } from './places.js'
import { items } from '../common/state.js'
import { draw, makeTile, palette, write } from '../wall/tile.js'
import { clock, count, spoken } from '../common/words.js'

/** @typedef {import('../types').Recording} Recording */

const listed = 12 // files of a bank that are named; the rest is counted
const mostHumps = 20 // of a heap
const latest = 8 // takes that are shown as they are found

/** @type {import('../types').Open} */
export const openStart = (root, desk) => {
  const s = new Start(root, desk)
  return { close: () => s.close() }
}

/** @param {'clip' | 'sound'} kind @param {string} title @param {string} what @param {() => void} add */
function makeBank(kind, title, what, add) {
  const path = document.createElementNS('http://www.w3.org/2000/svg', 'path')
  const svg = document.createElementNS('http://www.w3.org/2000/svg', 'svg')
  svg.setAttribute('viewBox', '0 0 600 100')
  svg.setAttribute('preserveAspectRatio', 'none')
  svg.setAttribute('aria-hidden', 'true')
  svg.append(path)
  const total = h('p', { class: 'quiet' }, what)
  const list = h('ul', { class: 'files' })
  const more = h('p', { class: 'small quiet' })
  const el = h('section', { class: `bank ${kind}`, 'aria-labelledby': `bank-${kind}` }, svg,
    h('h2', { id: `bank-${kind}` }, title), total, button('Add folders', add, { class: 'deed second' }), list, more)
  return { kind, el, path, total, list, more, what, lines: /** @type {Map<string, ReturnType<typeof makeLine>>} */ (new Map()) }
}

function makeLine() {
  const name = h('span', { class: 'name' }), state = h('span', { class: 'quiet' }), bar = h('i')
  return { el: h('li', null, name, state, bar), name, state, bar }
}

class Start {
  /** @param {HTMLElement} root @param {import('../types').Desk} desk */
  constructor(root, desk) {
    this.desk = desk
    this.paint = palette()
    this.looks = createLooks(() => this.frame())
    this.frame = nextFrame(() => this.update())
    this.stop = new AbortController()
    const add = () => openPlaces(desk, () => desk.go('#/start'))
    this.banks = [
      makeBank('clip', 'From the cameras', 'Clips, each with the sound its camera heard.', add),
      makeBank('sound', 'From the recorders', 'Body mics, phones, recorders: the good sound.', add),
    ]
    this.tiles = Array.from({ length: latest }, makeTile)
    const go = (/** @type {Event} */ e) => {
      const t = this.tiles.find((t) => t.el.contains(/** @type {Node} */ (e.target)))
      if (t?.item) desk.go(`#/take/${encodeURIComponent(t.item.id)}`)
    }
    this.came = h('section', { class: 'came', hidden: true }, h('h2'), h('div', { class: 'latest', onclick: go, onkeydown: (/** @type {KeyboardEvent} */ e) => e.key === 'Enter' && go(e) }, this.tiles.map((t) => {
      t.el.setAttribute('role', 'link')
      t.el.tabIndex = 0
      return t.el
    })))
    this.ui = this.build(root)
    this.listen()
    this.unsubscribe = desk.store.subscribe(() => this.frame())
    this.update()
  }

  /** @param {HTMLElement} root */
  build(root) {
    const work = h('p', { class: 'now', role: 'status' })
    const rest = h('ul', { class: 'files rest', 'aria-label': 'Not sorted' })
    const notes = h('ul', { class: 'files rest', 'aria-label': 'Passed over or mended' })
    const paths = h('ul', { class: 'files rest', 'aria-label': 'Added' })
    const title = h('h1', null, 'Bring what was recorded')
    const demo = h('p', { class: 'demo' }, 'Nothing at hand? ', button('Try it on a small shoot', () => this.tryIt()), ': a lesson in bicycle repair, made up on this machine in a minute.')
    fill(root, h('div', { class: 'intro' }, title, h('p', null, 'The clips of the cameras and the sound of the recorders, in any order. Earshot finds what belongs together, lays it in line and shows you how well it lies. Originals are only ever read.')),
      h('div', { class: 'banks' }, this.banks.map((b) => b.el)), work, rest, notes, this.came, paths,
      h('div', { class: 'asides' }, demo,
        h('p', { class: 'small quiet' }, 'Files and folders can be dropped on this page too. A browser does not say where they lie, so what is dropped is copied into the shoot’s folder; what is added by its folder stays where it is.'),
        h('p', { class: 'small quiet' }, 'Listen softly at first: a body mic can be far louder than the camera’s own, above all in headphones. Ask people before you record them.'),
        h('p', { class: 'small' }, button('End Earshot', () => this.desk.quit()))))
    return { work, rest, title, demo, notes, paths }
  }

  listen() {
    const { signal } = this.stop
    addEventListener('theme', () => {
      this.paint = palette()
      for (const t of this.tiles) t.look = null
      this.frame()
    }, { signal })
  }

  close() {
    this.stop.abort()
    this.unsubscribe()
    this.frame.stop()
    this.looks.close()
  }

  async tryIt() {
    try {
      this.desk.go('#/start')
      await this.desk.api.demo()
    } catch (err) {
      this.desk.fail(err)
    }
  }

  update() {
    const s = this.desk.store.get()
    for (const b of this.banks) bring(b, s.recordings.filter((r) => r.kind === b.kind))
    const rest = s.recordings.filter((r) => !r.kind)
    const failed = rest.filter((r) => r.state === 'failed')
    const waiting = rest.length - failed.length
    say(this.ui.title, s.recordings.length ? s.shoot.name || 'What was recorded' : 'Bring what was recorded')
    this.ui.demo.hidden = s.recordings.length > 0
    const w = s.work
    const step = w.busy ? [w.step, w.file].filter(Boolean).join(' ') + (w.total ? `, ${Math.floor((100 * w.done) / w.total)} %` : '') : ''
    say(this.ui.work, [w.error && `${w.error}. ${w.hint ?? ''}`, step, waiting ? `${count(waiting, 'file')} waiting` : ''].filter(Boolean).join(' · '))
    fill(this.ui.rest, failed.slice(0, 50).map((r) => h('li', null, h('span', { class: 'name' }, r.name), h('span', { class: 'wrong' }, r.error ?? 'could not be read'))))
    fill(this.ui.notes, (s.notes ?? []).slice(0, 50).map((n) => h('li', { class: 'quiet' }, n)))
    this.pathsOf(s.shoot.paths ?? [])
    this.takes(s)
  }

  /** What was added, and a way to take it away again. @param {string[]} paths */
  pathsOf(paths) {
    const key = paths.join('\n')
    if (this.ui.paths.dataset.key === key) return
    this.ui.paths.dataset.key = key
    fill(this.ui.paths, paths.map((p) => h('li', null, h('span', null, p), button('Take away', () => this.desk.api.remove([p]).catch(this.desk.fail), { 'aria-label': `Take away ${p}` }))))
  }

  /** @param {import('../types').State} s */
  takes(s) {
    this.came.hidden = !s.takes.length
    if (!s.takes.length) return
    const look = s.takes.filter((t) => t.status === 'look').length
    fill(/** @type {Element} */ (this.came.firstElementChild), h('a', { href: '#/' }, `${count(s.takes.length, 'take')} found`), h('span', { class: 'quiet' }, look ? `, ${look === 1 ? 'one wants' : `${look} want`} a look` : ''))
    const ids = new Set(s.takes.slice(-latest).map((t) => t.id))
    const shown = items(s).filter((i) => ids.has(i.id)).reverse()
    for (const [k, tile] of this.tiles.entries()) {
      const item = shown[k]
      tile.el.hidden = !item
      if (!item) continue
      const look = this.looks.of(item)
      const old = tile.item?.id === item.id && tile.look && look.columns === tile.look.columns && look.picture === tile.look.picture
      tile.item = item
      write(tile, item)
      if (!old) draw(tile, look, this.paint, { w: tile.canvas.clientWidth, h: tile.canvas.clientHeight })
    }
    this.looks.want(shown)
  }
}

// What an empty bank shows faintly: a shore that may come.
const still = [60, 40, 90, 50, 120, 45, 80].map((length_s) => ({ length_s, done: 1, state: 'read' }))

/** Brings a bank in line with its recordings. @param {ReturnType<typeof makeBank>} b @param {Recording[]} all */
function bring(b, all) {
  const length = all.reduce((sum, r) => sum + r.length_s, 0)
  say(b.total, all.length ? `${count(all.length, 'file')}, ${spoken(length)}` : b.what)
  b.path.setAttribute('d', heap(all.length ? all : still))
  b.el.classList.toggle('empty', !all.length)
  const reading = all.filter((r) => r.state === 'reading')
  const shown = [...reading, ...all.filter((r) => r.state !== 'reading').reverse()].slice(0, listed)
  say(b.more, all.length > shown.length ? `and ${count(all.length - shown.length, 'more', 'more')}` : '')
  const keep = new Set(shown.map((r) => r.id))
  for (const [id, line] of b.lines) {
    if (keep.has(id)) continue
    line.el.remove()
    b.lines.delete(id)
  }
  for (const r of shown) {
    let line = b.lines.get(r.id)
    if (!line) {
      b.lines.set(r.id, (line = makeLine()))
      b.list.prepend(line.el)
    }
    say(line.name, r.name)
    say(line.state, r.state === 'reading' ? `${Math.round(100 * r.done)} %` : r.state === 'waiting' ? 'waiting' : clock(r.length_s))
    line.bar.hidden = r.state !== 'reading'
    line.bar.style.transform = `scaleX(${r.done})`
  }
}

/**
 * The outline of a heap: a hump for each recording, wider the longer it is,
 * higher the more of it was read; of many, one for a few of them. A flat line
 * where there is nothing.
 * @param {{length_s: number, done: number, state: string}[]} all
 */
export function heap(all) {
  const read = all.filter((r) => r.length_s > 0)
  const each = Math.ceil(read.length / mostHumps)
  const humps = []
  for (let k = 0; k < read.length; k += each) {
    const some = read.slice(k, k + each)
    humps.push({ wide: some.reduce((sum, r) => sum + Math.sqrt(r.length_s), 0), full: some.reduce((sum, r) => sum + (r.state === 'reading' ? r.done : 1), 0) / some.length })
  }
  const total = humps.reduce((sum, m) => sum + m.wide, 0)
  let d = 'M0 98'
  let x = 0, y = 98
  for (const [i, m] of humps.entries()) {
    const w = (600 * m.wide) / total
    const lift = Math.sin(((x + w / 2) / 600) * Math.PI) * 62 + 12 + ((i * 37) % 19)
    const top = 98 - lift * m.full, dip = i === humps.length - 1 ? 98 : 98 - lift * 0.7 * m.full
    d += ` C${[x + w * 0.25, y, x + w * 0.25, top, x + w / 2, top].map((v) => v.toFixed(1)).join(' ')}`
    d += ` C${[x + w * 0.75, top, x + w * 0.75, dip, x + w, dip].map((v) => v.toFixed(1)).join(' ')}`
    x += w
    y = dip
  }
  return d + ' L600 98 L600 100 L0 100 Z'
}
