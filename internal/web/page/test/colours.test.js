// Contrast of style.css's colours, by the formula of WCAG 2.2 (relative
// luminance, contrast ratio): 4.5 for text, 3 for what one must tell apart.
import assert from 'node:assert/strict'
import { readFileSync } from 'node:fs'
import { test } from 'node:test'

const css = readFileSync(new URL('../style.css', import.meta.url), 'utf8')

/** The custom colours of the first block after a selector. */
function palette(selector) {
  const from = css.indexOf(selector)
  assert.ok(from >= 0, `${selector} is not in style.css`)
  const block = css.slice(from, css.indexOf('}', from))
  return Object.fromEntries([...block.matchAll(/--([\w-]+): (#[0-9a-f]{6})/g)].map((m) => [m[1], m[2]]))
}

function luminance(hex) {
  const [r, g, b] = [1, 3, 5].map((k) => parseInt(hex.slice(k, k + 2), 16) / 255).map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4))
  return 0.2126 * r + 0.7152 * g + 0.0722 * b
}

function ratio(a, b) {
  const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p)
  return (x + 0.05) / (y + 0.05)
}

test('black on white is 21', () => assert.equal(ratio('#000000', '#ffffff'), 21))

const themes = { light: palette(':root {'), dark: palette(':root[data-theme="dark"] {') }

test('the dark theme is the same whether asked for or the system’s', () => {
  assert.deepEqual(palette(':root:not([data-theme="light"], [data-theme="dark"]) {'), themes.dark)
})

for (const [name, c] of Object.entries(themes)) {
  test(`${name}: texts can be read`, () => {
    for (const ground of ['paper', 'raised', 'sunk']) {
      for (const text of ['ink', 'quiet', 'land-text', 'water-text', 'doubt', 'wrong']) {
        assert.ok(ratio(c[text], c[ground]) >= 4.5, `${text} on ${ground}: ${ratio(c[text], c[ground]).toFixed(2)}`)
      }
    }
    assert.ok(ratio(c.paper, c['water-text']) >= 4.5, 'a deed under the pointer')
  })
  test(`${name}: shapes can be told apart`, () => {
    for (const shape of ['land-deep', 'water-deep', 'line']) assert.ok(ratio(c[shape], c.paper) >= 3, `${shape} on paper: ${ratio(c[shape], c.paper).toFixed(2)}`)
  })
}
