// The page's beginning: which screen is shown, what changed, keys that work anywhere.
import { api, cancelled, follow } from './common/api.js'
import { openDay } from './wall/day.js'
import { button, byId, fill, h, say } from './common/dom.js'
import { openDone } from './done/done.js'
import { takeDrops } from './start/drop.js'
import { openHelp } from './common/help.js'
import { define, press, writing } from './common/keys.js'
import { openStart } from './start/start.js'
import { createStore, empty } from './common/state.js'
import { openWall } from './wall/wall.js'
import { stepSays } from './common/words.js'

/** @typedef {import('./types').Desk} Desk */
/** @typedef {import('./types').Screen} Screen */
/** @typedef {import('./types').Open} Open */

const store = createStore()
const go = (/** @type {string} */ hash) => {
  location.hash = hash
}

let quiet = 0
/** @param {string} text @param {string} [hint] */
function tell(text, hint) {
  const box = byId('said')
  fill(box, h('p', null, h('b', null, text), hint ? ` · ${hint}` : null))
  box.classList.add('on')
  clearTimeout(quiet)
  quiet = window.setTimeout(() => box.classList.remove('on'), hint ? 9000 : 4000)
}

/** @param {unknown} err */
function fail(err) {
  if (cancelled(err)) return
  const e = /** @type {{message?: string, hint?: string}} */ (err)
  tell(e.message ?? String(err), e.hint)
}

/** The sheet names the keys of a take too, whose part may not have been fetched yet. */
async function help() {
  await closer().catch(() => {})
  openHelp()
}

async function quit() {
  try {
    await api.quit()
  } catch (err) {
    return fail(err)
  }
  unfollow()
  screen?.close()
  fill(document.body, h('main', null, h('p', { class: 'none' }, 'Earshot has ended. This page can be closed.')))
}

/** @type {Desk} */
const desk = { api, store, go, tell, fail, quit, chosen: new Set() }

// The close look is the largest part, and not what is seen first: it is fetched
// while the wall is drawn.
/** @type {Promise<{openTake: Open}> | undefined} */
let close
const closer = () => (close ??= import('./take/take.js').catch((err) => {
  close = undefined // asked for anew the next time
  throw err
}))

/** @type {Record<'start' | 'wall' | 'day' | 'done' | 'take', () => Open | Promise<Open>>} */
const screens = {
  start: () => openStart,
  wall: () => openWall,
  day: () => openDay,
  done: () => openDone,
  take: async () => (await closer()).openTake,
}

/** @type {Screen | null} */
let screen = null
let shown = ''
let asked = 0
let opened = false

/** @param {string} id  as it stands in the address */
function unescaped(id) {
  try {
    return decodeURIComponent(id)
  } catch {
    return id // written by hand
  }
}

/** What the address names. @returns {[keyof typeof screens, string]} */
function named() {
  const [, kind, id] = location.hash.split('/')
  if (kind === 'take' && id) return ['take', unescaped(id)]
  if (kind === 'done' || kind === 'start') return [kind, '']
  return empty(store.get()) ? ['start', ''] : [kind === 'day' ? 'day' : 'wall', '']
}

async function show() {
  const [kind, id] = named()
  if (shown === `${kind}/${id}`) return
  const mine = ++asked
  shown = `${kind}/${id}`
  try {
    const open = await screens[kind]()
    if (mine !== asked) return
    screen?.close()
    screen = null
    const main = byId('main')
    fill(main)
    main.className = kind
    window.scrollTo(0, 0)
    const first = !opened
    screen = open(main, { id, ...desk })
    opened = true
    if (!first && !main.contains(document.activeElement)) main.focus({ preventScroll: true })
    head()
  } catch (err) {
    shown = ''
    fail(err)
  }
}

/** @param {'undo' | 'redo'} which */
async function step(which) {
  try {
    const done = await api[which]()
    if (!done) return tell(which === 'undo' ? 'Nothing to undo' : 'Nothing to do again')
    tell(`${which === 'undo' ? 'Undone' : 'Done again'}: ${stepSays(done, store.get().recordings)}`)
  } catch (err) {
    fail(err)
  }
}

const themes = ['', 'light', 'dark']
const themeNames = ['as the system', 'light', 'dark']

/** @param {number} n */
function theme(n) {
  document.documentElement.dataset.theme = themes[n]
  try {
    localStorage.setItem('theme', themes[n])
  } catch {} // a browser may keep nothing; the choice then lasts as long as the page
  window.dispatchEvent(new Event('theme'))
}

function kept() {
  try {
    return Math.max(0, themes.indexOf(localStorage.getItem('theme') ?? ''))
  } catch {
    return 0
  }
}

/** @type {Record<string, HTMLElement>} */
let bar = {}

function makeHead() {
  let now = kept()
  theme(now)
  const way = (/** @type {string} */ to, /** @type {string} */ text) => h('a', { href: to }, text)
  bar = {
    name: h('a', { class: 'name', href: '#/' }, 'Earshot'),
    wall: way('#/', 'Wall'), day: way('#/day', 'Day'), done: way('#/done', 'Marry'),
    undo: button('Undo', () => step('undo')),
    redo: button('Redo', () => step('redo')),
    add: way('#/start', 'Add'),
    light: button('Colours', () => {
      theme((now = (now + 1) % 3))
      tell(`Colours: ${themeNames[now]}`)
      head()
    }),
    help: button('Keys', help, { 'aria-keyshortcuts': '?' }),
    work: h('p', { class: 'work' }),
  }
  fill(byId('head'), bar.name, h('nav', { 'aria-label': 'The shoot' }, bar.add, bar.wall, bar.day, bar.done), bar.work, h('div', { class: 'side' }, bar.undo, bar.redo, bar.light, bar.help))
}

/** Brings the head in line with the state. */
function head() {
  const s = store.get()
  const [kind] = named()
  say(bar.name, (!empty(s) && s.shoot.name) || 'Earshot')
  document.title = (s.shoot.name ? `${s.shoot.name} · ` : '') + 'Earshot'
  for (const [k, el] of Object.entries({ wall: bar.wall, day: bar.day, done: bar.done, add: bar.add })) {
    if (kind === (k === 'add' ? 'start' : k)) el.setAttribute('aria-current', 'page')
    else el.removeAttribute('aria-current')
  }
  byId('head').classList.toggle('bare', empty(s))
  for (const [el, last, word] of /** @type {const} */ ([[bar.undo, s.undo, 'Undo'], [bar.redo, s.redo, 'Redo']])) {
    /** @type {HTMLButtonElement} */ (el).disabled = !last
    const says = last ? stepSays(last, s.recordings) : ''
    el.setAttribute('aria-label', last ? `${word}: ${says}` : word)
    el.title = says
  }
  bar.light.setAttribute('aria-label', `Colours: ${themeNames[kept()]}`)
  working(s)
}

/** @param {import('./types').State} s */
function working(s) {
  const w = s.work, m = s.marriage
  const of = (/** @type {number} */ done, /** @type {number} */ total) => (total ? ` ${Math.floor((100 * done) / total)} %` : '')
  bar.work.classList.toggle('wrong', Boolean(w.error))
  say(bar.work, w.error ? w.error : m.busy ? `marrying${of(m.done, m.total)}` : w.busy ? `${w.step ?? 'working'}${of(w.done, w.total)}` : '')
}

define('Anywhere', [
  { keys: ['?'], says: 'this sheet', run: () => void help() },
  { keys: ['Mod+z'], says: 'undo', run: () => void step('undo') },
  { keys: ['Mod+Shift+z', 'Mod+y'], says: 'do again what was undone', run: () => void step('redo') },
  { keys: ['g'], says: 'to the wall', run: () => go('#/') },
  { keys: ['d'], says: 'to the day', run: () => go('#/day') },
  { keys: ['f'], says: 'to marrying', run: () => go('#/done') },
  { keys: ['Escape'], says: 'back', run: () => (named()[0] === 'wall' || named()[0] === 'start' ? false : go('#/')) },
])

/** @param {KeyboardEvent} e */
function key(e) {
  // A slider or one of several choices moves by its own keys.
  if (e.target instanceof HTMLInputElement && /^(Arrow|Home|End|Page| )/.test(e.key)) return
  if (e.defaultPrevented || writing(e.target) || document.querySelector('dialog[open]')) return
  if (screen?.key?.(e)) return e.preventDefault()
  press('Anywhere', e)
}

/** @param {boolean} lost */
function connection(lost) {
  const box = byId('lost')
  if (box.hidden === !lost) return
  say(box, lost ? 'Earshot does not answer. What you see may be old; this page goes on by itself when it answers again.' : '')
  box.hidden = !lost
}

makeHead()
takeDrops(desk)
addEventListener('keydown', key)
document.querySelector('.skip')?.addEventListener('click', (e) => {
  e.preventDefault() // an address would open another screen
  byId('main').focus()
})
addEventListener('hashchange', show)
store.subscribe(() => {
  head()
  const [kind] = named()
  if (kind !== shown.split('/')[0]) show()
})

let unfollow = () => {}

async function begin() {
  try {
    store.apply({ ...(await api.state()), all: true })
  } catch (err) {
    if (/** @type {{status?: number}} */ (err).status === 403) {
      return fill(byId('main'), h('p', { class: 'none' }, 'This page was opened without its key. Open the address that Earshot said when it started, or start it again.'))
    }
    fail(err)
  }
  unfollow = follow(() => store.get().version, store.apply, connection)
  show()
  requestAnimationFrame(() => setTimeout(() => closer().catch(() => {}), 0))
}

begin()
