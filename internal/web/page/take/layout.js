// How the parts of a take stand on the page.

import { fill, h } from '../common/dom.js'
import { keyed } from './moving.js'
import { LIMITS } from '../glass/seam.js'

/** Puts a take's parts on the page and answers those whose words change.
 * @param {import('./take.js').TakeScreen} s */
export function layout(s) {
  const el = {
    name: h('input', { type: 'text', class: 'name', 'aria-label': 'Name of the finished clip', autocomplete: 'off', spellcheck: false, onchange: () => s.rename(el.name.value.trim()) }),
    files: h('p', { class: 'small quiet' }),
    verdict: h('p', { class: 'verdict' }),
    approve: h('button', { type: 'button', class: 'deed', onclick: () => s.approveAndGo() }),
    note: h('textarea', { rows: 2, id: 'note', onchange: () => s.say({ note: el.note.value.trim() }) }),
    words: h('div', { class: 'reasons' }),
    claps: h('ul', { class: 'claps' }),
    position: h('p', { class: 'small' }),
    ghost: h('p', { class: 'ghost', hidden: true }),
  }
  s.glass.root.append(el.ghost)
  fill(s.root,
    h('header', { class: 'take-head' }, h('div', null, el.name, el.files, el.verdict), h('div', { class: 'row' }, keyed('Next to look at', 'N', () => s.next()), el.approve)),
    s.glass.root, s.strip.root,
    h('div', { class: 'under' },
      h('div', null, s.screen, s.moving.root, h('section', { class: 'notes' }, h('h2', null, h('label', { for: 'note' }, 'Note')), el.note)),
      h('div', null, s.hearing.root, viewing(s), h('div', { class: 'blocks' },
        h('section', { class: 'why' }, h('h2', null, 'What is known'), el.words), s.others.root,
        h('section', { class: 'inwords' }, h('h2', null, 'The mirror in words'), el.position, el.claps, h('p', { class: 'small quiet' }, 'Seam: above the middle the good sound is late, below it early. ', LIMITS.map((l) => l.says).join(' ')))))))
  return el
}

/** The buttons that change what is on the glass.
 * @param {import('./take.js').TakeScreen} s */
const viewing = (s) => h('div', { class: 'row viewing', role: 'group', 'aria-label': 'View' },
  keyed('Closer', '+', () => s.glass.zoom(2)), keyed('Wider', '−', () => s.glass.zoom(0.5)), keyed('Whole take', '0', () => s.glass.span(0)),
  keyed('Clap before', 'Shift C', () => s.clap(-1)), keyed('Next clap', 'C', () => s.clap(1)), keyed('Worst place', 'W', () => s.worst()),
  keyed('Heights', 'I', () => s.heights(), { title: 'Heights fill the whole take, or what is on the glass' }),
  keyed('Seam scale', 'Y', () => s.seamScale(), { title: 'As an ear hears it, or as fine as it was measured' }),
  keyed('Frames', 'Q', () => s.frames(), { title: 'The ruler in plain time, or in frames' }))
