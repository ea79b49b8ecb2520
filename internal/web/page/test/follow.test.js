import { mock, test } from 'node:test'
import assert from 'node:assert/strict'
import { follow } from '../common/api.js'

/** A browser with event streams that do what they are told. */
function browser() {
  const streams = []
  const document = Object.assign(new EventTarget(), { hidden: false })
  globalThis.document = document
  globalThis.window = globalThis
  globalThis.EventSource = class extends EventTarget {
    constructor(url) {
      super()
      this.url = url
      this.open = true
      streams.push(this)
    }
    close() { this.open = false }
  }
  const see = (seen) => {
    document.hidden = !seen
    document.dispatchEvent(new Event('visibilitychange'))
  }
  return { streams, see, open: () => streams.filter((s) => s.open).length }
}

test('what changes is followed while the page is seen, and caught up with when it is seen again', () => {
  mock.timers.enable({ apis: ['setTimeout'] })
  const { streams, see, open } = browser()
  let version = 7
  const lost = []
  const end = follow(() => version, (p) => (version = p.version), (l) => lost.push(l))
  streams[0].dispatchEvent(Object.assign(new Event('change'), { data: '{"version": 8}' }))
  assert.equal(version, 8)
  see(false)
  mock.timers.tick(10_000)
  see(true) // looked elsewhere for a moment
  mock.timers.tick(60_000)
  assert.deepEqual([streams.length, open()], [1, 1])
  see(false)
  mock.timers.tick(30_000)
  assert.equal(open(), 0)
  see(true)
  assert.deepEqual([streams.length, open(), streams[1].url], [2, 1, '/api/events?since=8'])
  assert.deepEqual(lost, [], 'nothing was lost')
  end()
  see(false), see(true)
  assert.equal(open(), 0)
  mock.timers.reset()
})

test('a stream that breaks off is asked for again, less and less often', () => {
  mock.timers.enable({ apis: ['setTimeout'] })
  const { streams, see, open } = browser()
  const lost = []
  const end = follow(() => 1, () => {}, (l) => lost.push(l))
  streams[0].onerror()
  assert.deepEqual([open(), lost], [0, [true]])
  mock.timers.tick(500)
  assert.equal(open(), 1)
  streams[1].onerror()
  mock.timers.tick(500)
  assert.equal(open(), 0)
  mock.timers.tick(300)
  assert.equal(open(), 1)
  streams[2].onopen()
  assert.deepEqual(lost, [true, true, false])
  streams[2].onerror()
  see(false), see(true) // somebody looks: now
  assert.equal(open(), 1)
  mock.timers.tick(60_000)
  assert.equal(open(), 1)
  end()
  assert.equal(open(), 0)
  mock.timers.reset()
})
