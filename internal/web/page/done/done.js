// Marrying: the choices, the one button, and the finished clips with their proof.
import { button, fill, h, nextFrame, say } from '../common/dom.js'
import { drawSeam } from './proof.js'
import { recording, take } from '../common/state.js'
import { base, count, late, ms } from '../common/words.js'

/** @typedef {import('../types').Married} Married */
/** @typedef {import('../types').MarryAsk} MarryAsk */

// What was chosen last, kept while the page is.
const kept = { to: 'married', sound: 'pcm', scratch: 'keep', gaps: 'scratch', placed: 'heard', distance: '', celsius: '', name: '{clip}_married', unsure: false, again: false, only: true }

/** @type {import('../types').Open} */
export const openDone = (root, desk) => {
  const d = new Done(root, desk)
  return { close: () => d.close() }
}

class Done {
  /** @param {HTMLElement} root @param {import('../types').Desk} desk */
  constructor(root, desk) {
    this.desk = desk
    this.busy = false // marrying, when this was told last
    /** @type {Map<string, {el: HTMLElement, key: string}>} */ this.clips = new Map()
    this.frame = nextFrame(() => this.update())
    this.ui = this.build(root)
    this.unsubscribe = desk.store.subscribe(() => this.frame())
    this.update()
  }

  close() {
    this.unsubscribe()
    this.frame.stop()
  }

  /** @param {HTMLElement} root */
  build(root) {
    const { fields, air, which, deed } = this.fields()
    const form = h('form', { class: 'choices', onsubmit: (/** @type {Event} */ e) => {
      e.preventDefault()
      this.marry()
    }, onchange: () => this.chose() }, fields)
    const line = h('progress', { hidden: true, 'aria-label': 'Marrying' })
    const now = h('p', { class: 'now', role: 'status' })
    const stop = button('Stop', () => this.desk.api.stopMarrying().catch(this.desk.fail), { class: 'deed second', hidden: true })
    const sum = h('h2', { class: 'sum' })
    const where = h('p', { class: 'where' })
    const wrong = h('p', { class: 'wrong', role: 'alert', hidden: true })
    const list = h('ol', { class: 'finished' })
    fill(root, h('div', { class: 'marry' },
      h('div', null, h('h1', null, 'Marry'), h('p', { class: 'quiet lead' }, 'The picture is copied untouched, the good sound laid on it. Each finished clip is opened again and measured before it counts.'), form),
      h('div', { class: 'outcome' }, h('div', { class: 'going' }, now, stop), line, wrong, sum, where, list)))
    return { form, line, now, stop, sum, where, wrong, list, air, which, deed }
  }

  fields() {
    const pick = (/** @type {string} */ label, /** @type {'sound' | 'scratch' | 'gaps' | 'placed'} */ name, /** @type {[string, string, string][]} */ options) => h('fieldset', null, h('legend', null, label),
      options.map(([value, text, more]) => h('label', null, h('input', { type: 'radio', name, value, checked: kept[name] === value }), h('span', null, text, h('span', { class: 'quiet' }, ` ${more}`)))))
    const text = (/** @type {string} */ label, /** @type {'to' | 'name'} */ name, /** @type {string} */ more) => h('label', { class: 'text' }, h('span', null, label), h('input', { type: 'text', name, value: kept[name], spellcheck: false, autocomplete: 'off', 'aria-describedby': `${name}-more` }), h('span', { class: 'quiet small', id: `${name}-more` }, more))
    const number = (/** @type {string} */ label, /** @type {'distance' | 'celsius'} */ name, /** @type {number} */ min, /** @type {number} */ max, /** @type {string} */ unit) => h('label', { class: 'number' }, h('span', null, label), h('input', { type: 'number', name, min, max, step: 'any', value: kept[name], inputMode: 'decimal' }), h('span', null, unit))
    const air = h('div', { class: 'air' }, number('Talker from the camera', 'distance', 0, 1000, 'm'), number('Air', 'celsius', -90, 60, '°C'))
    const which = h('fieldset', { class: 'which', hidden: true })
    const deed = h('button', { class: 'deed', type: 'submit' }, 'Marry')
    const tick = (/** @type {'unsure' | 'again'} */ name, /** @type {string} */ text, /** @type {string} */ more) => h('label', null, h('input', { type: 'checkbox', name, checked: kept[name] }), h('span', null, text, h('span', { class: 'quiet' }, ` ${more}`)))
    const fields = [which, deed,
      text('Into', 'to', 'A folder in the shoot’s own, or a whole path; made when it is missing.'),
      text('Named', 'name', '{clip} is the clip’s own name without its ending.'),
      pick('The good sound', 'sound', [['pcm', 'exact', 'uncompressed, in MOV'], ['aac', 'small', 'AAC, in MP4']]),
      pick('The camera’s own sound', 'scratch', [['keep', 'kept', 'as a further track'], ['drop', 'left out', '']]),
      pick('Where the good sound is missing', 'gaps', [['scratch', 'the camera’s', ''], ['silence', 'silence', '']]),
      pick('The voice lies where the camera', 'placed', [['heard', 'heard it', ''], ['saw', 'saw it', 'the sound’s way through the air taken off']]), air,
      h('fieldset', null, h('legend', null, 'Besides'), tick('unsure', 'unsure takes too', 'even those nobody approved'), tick('again', 'replace', 'finished clips that stand in the way'))]
    return { fields, air, which, deed }
  }

  /** Reads the form. */
  chose() {
    const f = new FormData(this.ui.form)
    for (const k of /** @type {const} */ (['to', 'sound', 'scratch', 'gaps', 'placed', 'distance', 'celsius', 'name'])) kept[k] = String(f.get(k) ?? '')
    kept.unsure = f.has('unsure')
    kept.again = f.has('again')
    if (f.has('which')) kept.only = f.get('which') === 'chosen'
    this.update()
  }

  /** Ids of takes that would be married. @returns {string[]} */
  meant() {
    const s = this.desk.store.get()
    if (kept.only && this.desk.chosen.size) return [...this.desk.chosen].filter((id) => take(s, id))
    return s.takes.filter((t) => t.status === 'done' || (kept.unsure && t.verdict === 'unsure')).map((t) => t.id)
  }

  async marry() {
    this.chose()
    const saw = kept.placed === 'saw'
    const number = (/** @type {string} */ v) => (saw && v !== '' ? Number(v) : undefined)
    /** @type {MarryAsk} */
    const ask = { to: kept.to, sound: kept.sound, scratch: kept.scratch, gaps: kept.gaps, name: kept.name, unsure: kept.unsure, again: kept.again, distance: number(kept.distance), celsius: number(kept.celsius) }
    if (kept.only && this.desk.chosen.size) ask.only = this.meant()
    if (saw && ask.distance === undefined) {
      /** @type {HTMLInputElement} */ (this.ui.air?.querySelector('input')).focus()
      return this.desk.tell('How far was the talker from the camera?', 'give metres, or choose: where the camera heard it')
    }
    try {
      await this.desk.api.marry(ask)
    } catch (err) {
      this.desk.fail(err)
    }
  }

  update() {
    const s = this.desk.store.get(), m = s.marriage
    this.whichOf(s)
    const n = this.meant().length
    const deed = this.ui.deed
    say(deed, n ? `Marry ${count(n, 'take')}` : 'No take is done yet')
    deed.disabled = m.busy || !n
    const air = this.ui.air
    air.hidden = kept.placed !== 'saw'
    this.going(m)
    this.summary(m)
    this.clipsOf(m.clips ?? [])
  }

  /** Offers what is chosen on the wall, where something is. @param {import('../types').State} s */
  whichOf(s) {
    const which = this.ui.which
    const chosen = [...this.desk.chosen].filter((id) => take(s, id)).length
    which.hidden = !chosen
    if (!chosen || which.dataset.n === String(chosen)) return
    which.dataset.n = String(chosen)
    const one = (/** @type {string} */ value, /** @type {string} */ text) => h('label', null, h('input', { type: 'radio', name: 'which', value, checked: (value === 'chosen') === kept.only }), h('span', null, text))
    fill(which, h('legend', null, 'Which'), one('chosen', `the ${count(chosen, 'take')} chosen on the wall`), one('done', 'all that are done'))
  }

  /** @param {import('../types').Marriage} m */
  going(m) {
    const line = this.ui.line
    line.hidden = !m.busy
    line.max = Math.max(1, m.total)
    line.value = m.done
    const stop = this.ui.stop
    if (stop.hidden !== !m.busy) {
      const had = stop === document.activeElement
      stop.hidden = !m.busy
      if (had) this.ui.sum.focus()
    }
    say(this.ui.now, m.busy ? `${m.file ?? ''}${m.total ? `, ${Math.min(m.total, Math.floor(m.done) + 1)} of ${m.total}` : ''}` : '')
    const wrong = this.ui.wrong
    wrong.hidden = !m.error
    say(wrong, m.error ? `${m.error}${m.hint ? `. ${m.hint}` : ''}` : '')
  }

  /** @param {import('../types').Marriage} m */
  summary(m) {
    const clips = m.clips ?? []
    const n = (/** @type {string} */ state) => clips.filter((c) => c.state === state).length
    const words = [[n('written'), 'written'], [n('kept'), 'kept as they were'], [n('passed'), 'passed over'], [n('failed'), 'failed']].filter(([k]) => k).map(([k, w]) => `${k} ${w}`)
    const sum = this.ui.sum
    sum.tabIndex = -1
    say(sum, words.length ? words.join(', ') : m.busy ? 'Under way' : 'Nothing is married yet')
    if (this.busy && !m.busy && words.length) this.desk.tell(`Married: ${words.join(', ')}`)
    this.busy = m.busy
    const where = this.ui.where
    const key = clips.length && m.to ? `${m.to} ${m.report ?? ''}` : ''
    if (where.dataset.key === key) return
    where.dataset.key = key
    fill(where, key ? [h('span', { class: 'path' }, m.to), ' ', button('Open the folder', () => this.reveal({ what: 'married' })), m.report ? h('span', { class: 'quiet' }, ` The report: ${base(m.report).replace(/\.json$/, '.txt')}`) : null] : [])
  }

  /** @param {{what?: 'married', take?: string}} what */
  reveal(what) {
    this.desk.api.reveal(what).catch(this.desk.fail)
  }

  /** @param {Married[]} clips */
  clipsOf(clips) {
    const ids = new Set(clips.map((c) => c.take))
    for (const [id, old] of this.clips) {
      if (ids.has(id)) continue
      old.el.remove()
      this.clips.delete(id)
    }
    for (const c of clips) {
      const p = c.proof
      const key = [c.state, c.out, c.error, c.why?.length, p?.state, p?.late_ms, p?.seam_p95_ms, p?.windows?.length].join('|')
      const old = this.clips.get(c.take)
      if (old?.key === key) continue
      const el = this.clip(c)
      if (old) old.el.replaceWith(el)
      else this.ui.list?.append(el)
      this.clips.set(c.take, { el, key })
    }
  }

  /** @param {Married} c */
  clip(c) {
    const s = this.desk.store.get()
    const r = recording(s, c.take)
    const name = take(s, c.take)?.word.name || r?.name || c.take
    const place = h('div', { class: 'player' })
    const there = Boolean(c.out) && (c.state === 'written' || c.state === 'kept')
    const { word, bad } = outcome(c)
    const why = [...(c.why ?? []).map(here), ...(c.proof && c.proof.state !== 'in sync' ? c.proof.why ?? [] : [])]
    const play = button('Play', () => this.play(c, name, place, play), { 'aria-label': `Play ${name}` })
    return h('li', null, h('div', { class: 'line' }, h('h3', null, h('a', { href: `#/take/${encodeURIComponent(c.take)}` }, name)), there ? h('span', { class: 'quiet small path' }, base(c.out ?? '')) : null),
      h('p', { class: bad ? 'wrong' : '' }, word),
      c.error ? h('p', { class: 'wrong' }, c.error) : null, why.length ? h('p', { class: 'quiet small' }, why.join('; ')) : null,
      c.proof?.windows?.length ? drawSeam(c.proof, r?.length_s ?? 0) : null,
      there ? h('p', { class: 'deeds' }, play, button('Show in its folder', () => this.reveal({ take: c.take }), { 'aria-label': `Show ${base(c.out ?? '')} in its folder` })) : null, place)
  }

  /** Plays a finished clip in its place; a small copy where the browser does not know the file's kind. @param {Married} c @param {string} name @param {HTMLElement} place @param {HTMLElement} button */
  play(c, name, place, button) {
    if (place.firstChild) {
      fill(place)
      say(button, 'Play')
      return
    }
    const note = h('p', { class: 'quiet small', role: 'status' })
    const video = h('video', { controls: true, autoplay: true, playsInline: true, 'aria-label': name, src: this.desk.api.marriedURL(c.take), onerror: () => {
      if (video.src.endsWith('/picture')) return say(note, 'This browser cannot show it. Open its folder and play it there.')
      void this.copy(video, note, this.desk.api.marriedPictureURL(c.take))
    } })
    video.volume = 0.5
    fill(place, video, note)
    say(button, 'Put away')
  }

  /** Shows a small copy as soon as it is made. @param {HTMLVideoElement} video @param {HTMLElement} note @param {string} url */
  async copy(video, note, url) {
    say(note, 'This browser does not know the kind of file. A small copy of its picture is being made, without sound.')
    try {
      await this.desk.api.copied(url)
      if (!video.isConnected) return
      video.src = url
      say(note, 'This browser does not know the kind of file; this is a small copy of its picture, without sound.')
    } catch (err) {
      say(note, `It cannot be shown: ${err instanceof Error ? err.message : err}. Open its folder and play it there.`)
    }
  }
}

// What is a flag on the command line is a choice on this page.
const here = (/** @type {string} */ why) => why.replace('--also unsure marries it all the same', 'choose “unsure takes too” to marry it all the same').replace('--again replaces it', 'choose “replace” to write it anew')

/** What became of a clip, in words. @param {Married} c @returns {{word: string, bad: boolean}} */
export function outcome(c) {
  const states = { written: 'written', kept: 'kept: it was there and still right', passed: 'passed over', failed: 'failed' }
  const p = c.proof
  if (!p) return { word: states[c.state], bad: c.state === 'failed' }
  if (p.state === 'could not tell') return { word: `${states[c.state]}; whether it is in sync could not be told`, bad: false }
  return { word: `${states[c.state]}; ${p.state}, ${late(p.late_ms)}, 95 % of the seam within ${ms(p.seam_p95_ms).replace('under ', '')}`, bad: c.state === 'failed' || p.state === 'out of sync' }
}
