// What a hand does on the glass: wheel, pinch, drag and click, told as what is
// meant by them. The rail moves the sound; everything else moves the view.

/**
 * @typedef {object} Meant
 * @property {(x: number, factor: number, soft: boolean) => void} zoom   about a place, CSS pixels; soft: glides there
 * @property {(pixels: number) => void} pan      to later moments
 * @property {(x: number, y: number, event: PointerEvent) => void} point   a click
 * @property {(pixels: number, end: boolean) => void} slide   the rail, from where it was taken up
 * @property {(x: number | null) => void} hover
 */

const STILL = 4 // CSS pixels that a click may shake

/** Zoom of one wheel event. A pinch comes as a wheel with Ctrl held, in small steps.
 * @param {{deltaY: number, deltaMode: number, ctrlKey: boolean}} e @returns {number} above 1: closer */
export function wheelFactor(e) {
  const pixels = e.deltaY * (e.deltaMode === 1 ? 16 : e.deltaMode === 2 ? 400 : 1)
  return Math.exp(-Math.max(-300, Math.min(300, pixels)) * (e.ctrlKey ? 0.01 : 0.0025))
}

/** Pixels to pan by for a wheel event; 0 where it means zoom.
 * @param {{deltaX: number, deltaY: number, deltaMode: number, ctrlKey: boolean, shiftKey: boolean}} e @returns {number} */
export function wheelPan(e) {
  const unit = e.deltaMode === 1 ? 16 : e.deltaMode === 2 ? 400 : 1
  if (e.ctrlKey) return 0
  if (e.shiftKey) return (e.deltaX || e.deltaY) * unit
  return Math.abs(e.deltaX) > Math.abs(e.deltaY) ? e.deltaX * unit : 0
}

/** @param {HTMLElement} glass @param {HTMLElement} rail @param {Meant} meant @returns {() => void} ends it */
export function listenToHands(glass, rail, meant) {
  const end = new AbortController()
  const on = { signal: end.signal }
  /** @type {Map<number, {x: number, y: number}>} */
  const down = new Map()
  /** @type {{x: number, y: number, last: number, moved: boolean, slides: boolean} | null} */
  let drag = null
  const place = (/** @type {PointerEvent | WheelEvent} */ e) => {
    const box = glass.getBoundingClientRect()
    return { x: e.clientX - box.left, y: e.clientY - box.top }
  }

  glass.addEventListener('wheel', (e) => {
    e.preventDefault()
    const by = wheelPan(e)
    if (by) meant.pan(by)
    else if (e.deltaY) meant.zoom(place(e).x, wheelFactor(e), !e.ctrlKey && Math.abs(e.deltaY) >= 60)
  }, { passive: false, ...on })

  glass.addEventListener('pointerdown', (e) => {
    if (e.button) return
    const at = place(e)
    down.set(e.pointerId, at)
    glass.setPointerCapture(e.pointerId)
    if (down.size === 1) drag = { ...at, last: at.x, moved: false, slides: rail.contains(/** @type {Node} */ (e.target)) }
    else stopSlide()
  }, on)

  glass.addEventListener('pointermove', (e) => {
    const at = place(e)
    const was = down.get(e.pointerId)
    if (!was) return meant.hover(e.pointerType === 'touch' ? null : at.x)
    if (down.size === 2) pinch(e.pointerId, was, at)
    else if (drag) pull(at, e.shiftKey)
    down.set(e.pointerId, at)
  }, on)

  for (const name of /** @type {const} */ (['pointerup', 'pointercancel'])) {
    glass.addEventListener(name, (e) => {
      if (!down.delete(e.pointerId) || !drag) return
      if (drag.slides) stopSlide()
      else if (!drag.moved && name === 'pointerup') meant.point(drag.x, drag.y, e)
      if (!down.size) drag = null
      else drag.moved = true
    }, on)
  }
  glass.addEventListener('pointerleave', () => meant.hover(null), on)

  let slid = 0
  function stopSlide() {
    if (drag?.slides && drag.moved) meant.slide(slid, true)
    if (drag) Object.assign(drag, { slides: false, moved: true })
    slid = 0
  }

  /** @param {{x: number, y: number}} at @param {boolean} fine  a tenth as far */
  function pull(at, fine) {
    if (!drag) return
    if (!drag.moved && Math.hypot(at.x - drag.x, at.y - drag.y) < STILL) return
    drag.moved = true
    const by = at.x - drag.last
    drag.last = at.x
    if (!drag.slides) return meant.pan(-by)
    slid += fine ? by / 10 : by
    meant.slide(slid, false)
  }

  /** @param {number} id @param {{x: number, y: number}} was @param {{x: number, y: number}} at */
  function pinch(id, was, at) {
    const other = [...down].find(([k]) => k !== id)?.[1]
    if (!other) return
    const middle = (at.x + other.x) / 2
    meant.zoom(middle, Math.max(8, Math.abs(at.x - other.x)) / Math.max(8, Math.abs(was.x - other.x)), false)
    meant.pan((was.x - at.x) / 2)
    if (drag) drag.moved = true
  }

  return () => end.abort()
}
