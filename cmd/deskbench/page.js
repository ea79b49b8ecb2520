// What a measurement does inside the desk's page: hands that zoom, pan and wait,
// one deed a frame, and what every frame took. Marks bracket each in the trace.
window.bench = (() => {
  const frame = () => new Promise(requestAnimationFrame)
  const glass = () => document.querySelector('.glass')
  const long = []
  const copy = new OffscreenCanvas(1, 1).getContext('2d', { willReadFrequently: true })
  try {
    new PerformanceObserver((list) => long.push(...list.getEntries().map((e) => [e.startTime, e.duration]))).observe({ type: 'longtask', buffered: true })
  } catch {}

  /** Runs a deed once a frame for so long; answers what the frames took and the long tasks, ms. */
  async function frames(name, ms, deed) {
    await frame()
    performance.mark(`begin ${name}`)
    const begin = performance.now(), took = []
    let last = await frame()
    for (let k = 0; performance.now() - begin < ms; k++) {
      deed(k)
      const now = await frame()
      took.push(now - last)
      last = now
    }
    performance.mark(`end ${name}`)
    const end = performance.now()
    await new Promise((go) => setTimeout(go, 100)) // observers are told late
    return { took, long: long.filter(([at]) => at >= begin && at < end).map(([, d]) => d) }
  }

  /** Turns the wheel over the glass, as a pinch or sideways. */
  function wheel(x, y, pinch) {
    const box = glass().getBoundingClientRect()
    glass().dispatchEvent(new WheelEvent('wheel', { deltaX: x, deltaY: y, ctrlKey: pinch, clientX: box.left + box.width * 0.4, clientY: box.top + 120, bubbles: true, cancelable: true }))
  }

  /** Whether the glass shows a wave: along a line beside the shore, on either side of it, not all is ground. */
  function waves() {
    const canvas = glass()?.querySelector('canvas')
    if (!canvas?.width) return false
    const scale = canvas.width / canvas.clientWidth, water = document.querySelector('.glass .water').getBoundingClientRect(), top = canvas.getBoundingClientRect().top
    const shore = (water.top + water.height / 2 - top) * scale, high = Math.ceil((water.height / 2) * scale)
    copy.canvas.width = canvas.width
    copy.canvas.height = canvas.height
    copy.drawImage(canvas, 0, 0)
    return [-8, 8].every((off) => {
      const ground = copy.getImageData(canvas.width >> 1, shore + Math.sign(off) * (high - 4), 1, 1).data
      const line = copy.getImageData(0, shore + off * scale, canvas.width, 1).data
      let other = 0
      for (let i = 0; i < line.length; i += 4) if (Math.abs(line[i] - ground[0]) + Math.abs(line[i + 1] - ground[1]) + Math.abs(line[i + 2] - ground[2]) > 12) other++
      return other > canvas.width / 10
    })
  }

  /** Waits for the first wave; answers when, by the page's clock. */
  async function wave(name) {
    while (!waves()) await frame()
    performance.mark(`seen ${name}`)
    return performance.now()
  }

  /** From the page's beginning: when a tile of the wall is first there, and how many then. */
  const tiles = (async () => {
    for (;;) {
      const n = document.querySelectorAll?.('.grid .tile:not([hidden])').length ?? 0
      if (n) {
        performance.mark('seen wall')
        return { at: performance.now(), n }
      }
      await frame()
    }
  })()

  return {
    wave, tiles,
    waits: (name, ms) => frames(name, ms, () => {}),
    /** A page that only computes, as long as a drawing one might in each frame. */
    computes: (name, ms) => frames(name, ms, () => {
      for (const until = performance.now() + 6; performance.now() < until;);
    }),
    zooms: (name, ms) => frames(name, ms, (k) => wheel(0, Math.floor(k / 60) % 2 ? 4 : -4, true)),
    pans: (name, ms) => frames(name, ms, (k) => wheel(Math.floor(k / 150) % 2 ? -24 : 24, 0, false)),
    scrolls: (name, ms, by) => frames(name, ms, (k) => scrollBy(0, Math.floor(k / 240) % 2 ? -by : by)),
    /** Shows about so many seconds of a take. */
    span(length, seconds) {
      for (let i = 0; i < 8; i++) wheel(0, 300, true)
      for (let left = 100 * Math.log(length / seconds); left > 0; left -= 300) wheel(0, -Math.min(300, left), true)
    },
    /** How long a piece of a take's sound takes: to its first bytes, and to its last, ms. */
    async piece(id, from, seconds) {
      const begin = performance.now()
      const answer = await fetch(`/api/takes/${id}/listen?from=${from * 48000}&to=${(from + seconds) * 48000}`, { cache: 'no-store' })
      const reader = answer.body.getReader()
      await reader.read()
      const first = performance.now() - begin
      while (!(await reader.read()).done);
      return { first, all: performance.now() - begin }
    },
    /** Pairs a clip with a sound by hand. */
    pairs: async (id, sound, offset) => {
      const line = { offset_s: offset, drift_ppm: 0 }
      return (await fetch(`/api/takes/${id}/word`, { method: 'PATCH', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ sound, line }) })).status
    },
    /** How long it takes to say something of a take and take it back, ms each. */
    async says(id) {
      const took = []
      for (const approved of [true, false, true, false]) {
        const begin = performance.now()
        await fetch(`/api/takes/${id}/word`, { method: 'PATCH', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ approved }) })
        took.push(performance.now() - begin)
      }
      return took
    },
    async opens(id, name) {
      location.hash = '#/'
      while (glass()) await frame()
      await new Promise((go) => setTimeout(go, 1000))
      performance.mark(`begin ${name}`)
      const begin = performance.now()
      location.hash = `#/take/${encodeURIComponent(id)}`
      const at = (await wave(name)) - begin
      const asked = performance.getEntriesByType('resource').filter((e) => e.startTime >= begin && e.responseEnd)
      return { at, asked: asked.map((e) => ({ name: e.name.replace(/^.*api.(recordings|takes).[^/?]*/, ''), from: e.startTime - begin, to: e.responseEnd - begin })) }
    },
  }
})()
