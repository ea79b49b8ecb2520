// Renders what the page's own listener plays, in the page: only the sound device is replaced, by an
// OfflineAudioContext that is held up while sound is fetched. See heard_test.go.
window.heard = (() => {
  const RATE = 48000
  const nap = (ms) => new Promise((r) => setTimeout(r, ms))
  let echoes = 0

  /** Waits until all that is wanted is here, and the worklet has obeyed all it was told. */
  async function settled(listener) {
    for (listener.tend(); listener.coming || !listener.node || listener.feed.wanted >= 0; listener.tend()) {
      if (listener.trouble) throw new Error(listener.trouble.error)
      await nap(1)
    }
    listener.say({ do: 'echo', serial: ++echoes })
    while (listener.echo < echoes) await nap(0)
    listener.tend()
  }

  /** Sources that say at every frame what is heard, how loud, and from where in the clip; below the safety net. */
  const sources = {
    body: () => [0.5, 0],
    scratch: () => [0, 0.5],
    place: (k) => [(k + 1) / 2 ** 22, 0],
    side: (k, at) => (k < at ? [0.5, 0] : [0, 0.5]),
  }

  /** The program's answers, but for the sound of listen: a source instead. What tells places is matched by nothing. */
  const instead = (api, source, at) => ({
    loudness: source === 'body' || source === 'scratch' ? api.loudness : async () => ({ body_lufs: null, scratch_lufs: null, whole: true }),
    listen: async (_, { from, to }) => new Response(new ReadableStream({
      pull(stream) {
        const piece = new Float32Array(2 * Math.min(16384, to - from))
        for (let k = 0; k < piece.length; k += 2) piece.set(sources[source](from + k / 2, at), k)
        from += piece.length / 2
        stream.enqueue(new Uint8Array(piece.buffer))
        if (from >= to) stream.close()
      },
    })),
  })

  /**
   * Plays a take for so many seconds. steps are [second, what of the listener is called, ...with what].
   * how.volume: as the page begins, where it is left out. how.matched: waits for the loudness first.
   */
  async function render(how) {
    const { api } = await import('/common/api.js')
    const { createListener } = await import('/listen/listen.js')
    const frames = Math.round(how.seconds * RATE)
    const context = new OfflineAudioContext(2, frames, RATE)
    const listener = createListener({ api: how.source ? instead(api, how.source, how.at) : api, context })
    listener.echo = echoes
    const stops = new Map()
    for (let s = 0; s * 12 < how.seconds; s++) stops.set(s * 12 * RATE, [])
    for (const [when, ...step] of how.steps ?? []) {
      const frame = Math.ceil((when * RATE) / 128) * 128
      stops.set(frame, [...(stops.get(frame) ?? []), step])
    }
    listener.load(how.take, { length: how.length, sound: how.sound, line: how.line, alone: how.alone })
    while (how.matched && !listener.known.whole) await nap(1)
    if (how.volume !== undefined) listener.setVolume(how.volume)
    listener.setMode(how.mode)
    if (how.begin) listener.seek(how.begin)
    if (how.loop) listener.loop(...how.loop)
    listener.play()
    await settled(listener)
    for (const [frame, todo] of stops) {
      void context.suspend(frame / RATE).then(async () => {
        for (const [what, ...values] of todo) listener[what](...values)
        await settled(listener)
        await context.resume()
      })
    }
    const buffer = await context.startRendering()
    window.heard.out = [buffer.getChannelData(0), buffer.getChannelData(1)]
    const { match, quiet, volume } = listener.state
    listener.close()
    return { frames, match, quiet, volume }
  }

  /** Takes what the program sends as what was rendered. */
  async function raw(take, from, to) {
    const { api } = await import('/common/api.js')
    const both = new Float32Array(await (await api.listen(take, { from, to })).arrayBuffer())
    window.heard.out = [0, 1].map((side) => Float32Array.from({ length: both.length / 2 }, (_, k) => both[2 * k + side]))
    return both.length / 2
  }

  /** Frames of one ear of what was rendered last, as base64 of float32. */
  async function ear(side, from, to) {
    const url = await new Promise((resolve) => {
      const reader = new FileReader()
      reader.onload = () => resolve(reader.result)
      reader.readAsDataURL(new Blob([window.heard.out[side].slice(from, to)]))
    })
    return url.slice(url.indexOf(',') + 1)
  }

  /** Begins to do something; state tells when it is done, and with what. */
  function begin(promise) {
    const state = { done: false }
    promise.then((value) => Object.assign(state, { done: true, value }), (why) => Object.assign(state, { done: true, error: String(why?.stack ?? why) }))
    window.heard.state = state
  }

  return { render, raw, ear, begin, out: [], state: {} }
})()
