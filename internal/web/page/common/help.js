// The help sheet: all keys, from the one table.
import { button, h } from './dom.js'
import { places, printed } from './keys.js'

/** Opens the sheet; closing it gives the focus back. */
export function openHelp() {
  if (document.querySelector('dialog[open]')) return
  const mac = /Mac/.test(navigator.platform)
  const close = button('Close', () => sheet.close())
  const keys = (/** @type {string[]} */ list) => list.map((c, i) => [i ? ' or ' : '', ...printed(c, mac).map((k) => h('kbd', null, k))]).flat()
  const sheet = h('dialog', { class: 'sheet', 'aria-labelledby': 'help-title', onclose: () => sheet.remove() },
    h('header', null, h('h2', { id: 'help-title' }, 'Keys'), close),
    h('div', { class: 'keys' }, places().filter((p) => p.rows.length).map(({ place, rows }) => h('section', null,
      h('h3', null, place),
      h('table', null, h('tbody', null, rows.map((r) => h('tr', null, h('th', { scope: 'row' }, ...keys(r.shown ?? r.keys)), h('td', null, r.says)))))))))
  document.body.append(sheet)
  sheet.showModal()
}
