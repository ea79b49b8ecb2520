// Tiny helpers for making and finding elements.

/** @typedef {Node | string | number | null | undefined | false} Child */

/**
 * An element. Members of props that begin with "on" are listeners, "class" and
 * those with a dash or "role" are attributes, the rest are properties.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, any> | null} [props]
 * @param {...(Child | Child[])} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function h(tag, props, ...children) {
  const el = document.createElement(tag)
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === undefined || value === null) continue
    if (name.startsWith('on')) el.addEventListener(name.slice(2), value)
    else if (name === 'class') el.className = value
    else if (name.includes('-') || name === 'role' || name === 'for' || name === 'list') el.setAttribute(name, String(value))
    else /** @type {any} */ (el)[name] = value
  }
  put(el, ...children)
  return el
}

/**
 * Adds children to an element.
 * @param {Element} el
 * @param {...(Child | Child[])} children
 */
export function put(el, ...children) {
  for (const child of children.flat()) if (child !== null && child !== undefined && child !== false) el.append(child instanceof Node ? child : String(child))
}

/**
 * Puts children in the place of all an element held.
 * @param {Element} el
 * @param {...(Child | Child[])} children
 */
export function fill(el, ...children) {
  el.replaceChildren()
  put(el, ...children)
}

/**
 * Sets a text only where it is another one, which spares layout and screen readers.
 * @param {Element} el
 * @param {string} text
 */
export function say(el, text) {
  if (el.textContent !== text) el.textContent = text
}

/**
 * A button that is a word.
 * @param {string} text
 * @param {(event: Event) => unknown} run
 * @param {Record<string, any>} [props]
 */
export const button = (text, run, props) => h('button', { type: 'button', class: 'plain', onclick: run, ...props }, text)

/** The element of an id in the page. @param {string} id @returns {HTMLElement} */
export const byId = (id) => /** @type {HTMLElement} */ (document.getElementById(id))

/** The value of a colour of style.css, as "--land". @param {string} name */
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim()

/** Whether a person asked for little motion. */
export const still = () => matchMedia('(prefers-reduced-motion: reduce)').matches

/**
 * Calls fn once in the next frame however often it is asked to.
 * @param {() => void} fn
 * @returns {{(): void, stop(): void}}
 */
export function nextFrame(fn) {
  let id = 0
  const ask = () => {
    id ||= requestAnimationFrame(() => {
      id = 0
      fn()
    })
  }
  ask.stop = () => {
    cancelAnimationFrame(id)
    id = 0
  }
  return ask
}
