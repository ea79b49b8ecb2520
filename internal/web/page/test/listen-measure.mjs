// Measures in a browser what the page really plays and shows, on sounds that are formulas.
//
//   npm install --prefix SOMEWHERE puppeteer-core
//   NODE_PATH=SOMEWHERE/node_modules node internal/web/page/test/listen-measure.mjs [--minutes 10] [--only NAME]
//
// Needs Chromium (CHROMIUM, or "chromium") and the system's ffmpeg, whose ebur128 filter measures
// loudness (ITU-R BS.1770). Ends with status 1 where a figure is out of its bound.
import { execFileSync, spawnSync } from 'node:child_process'
import { createReadStream, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { createServer } from 'node:http'
import { createRequire } from 'node:module'
import { tmpdir } from 'node:os'
import { dirname, join, normalize } from 'node:path'
import { fileURLToPath } from 'node:url'
import { parseArgs } from 'node:util'
import { sounds } from './listen-sounds.mjs'

const { values: ask } = parseArgs({ options: { minutes: { type: 'string', default: '10' }, only: { type: 'string', default: '' } } })
const page = join(dirname(fileURLToPath(import.meta.url)), '..')
const folder = mkdtempSync(join(tmpdir(), 'listen-'))
const RATE = 48000
const fps = 25

/** A film whose frames carry their own number: sixteen fields, light for one, the lowest first. */
function film() {
  const w = 512, h = 64, frames = 60 * fps
  const all = Buffer.alloc(w * h * frames)
  for (let f = 0; f < frames; f++) for (let bit = 0; bit < 16; bit++) {
    if (!((f >> bit) & 1)) continue
    for (let y = 0; y < h; y++) all.fill(255, f * w * h + y * w + bit * 32, f * w * h + y * w + bit * 32 + 32)
  }
  const path = join(folder, 'film.mp4')
  const args = ['-v', 'error', '-y', '-f', 'rawvideo', '-pix_fmt', 'gray', '-s', `${w}x${h}`, '-r', String(fps), '-i', '-', '-c:v', 'libx264', '-g', '50', '-pix_fmt', 'yuv420p', '-movflags', '+faststart', path]
  const made = spawnSync('ffmpeg', args, { input: all })
  if (made.status !== 0) throw new Error(String(made.stderr))
  return path
}

/** A WAV of float32 samples. @param {Float32Array[]} channels */
function wav(channels) {
  const n = channels[0].length, c = channels.length
  const out = Buffer.alloc(44 + 4 * n * c)
  out.write('RIFF', 0), out.writeUInt32LE(36 + 4 * n * c, 4), out.write('WAVEfmt ', 8), out.writeUInt32LE(16, 16)
  out.writeUInt16LE(3, 20), out.writeUInt16LE(c, 22), out.writeUInt32LE(RATE, 24), out.writeUInt32LE(RATE * 4 * c, 28)
  out.writeUInt16LE(4 * c, 32), out.writeUInt16LE(32, 34), out.write('data', 36), out.writeUInt32LE(4 * n * c, 40)
  for (let i = 0; i < n; i++) for (let k = 0; k < c; k++) out.writeFloatLE(channels[k][i], 44 + 4 * (i * c + k))
  return out
}

/** Integrated loudness in LUFS, by ffmpeg's ebur128. @param {Buffer} bytes */
function lufs(bytes) {
  const path = join(folder, 'measured.wav')
  writeFileSync(path, bytes)
  const said = String(spawnSync('ffmpeg', ['-hide_banner', '-nostats', '-i', path, '-af', 'ebur128', '-f', 'null', '-']).stderr)
  return Number(/Integrated loudness:\s+I:\s+(\S+) LUFS/.exec(said)?.[1])
}

const mono = (fn, seconds) => Float32Array.from({ length: seconds * RATE }, (_, k) => fn(k))
const loud = { body_lufs: lufs(wav([mono(sounds.loud.body, 20)])), scratch_lufs: lufs(wav([mono(sounds.loud.scratch, 20)])), whole: true }
const path = film()
let stalled = true
/** @type {import('../listen/listen.js').Listening[]} what the page of the gesture says */
const heardOf = []

async function listen(res, id, q) {
  const { body, scratch } = sounds[id]
  const from = Number(q.get('from')), to = Number(q.get('to'))
  const shift = q.has('offset') ? Math.round(Number(q.get('offset')) * RATE) : 0
  let open = true, wake = () => {}
  res.on('close', () => { open = false; wake() })
  res.on('drain', () => wake())
  res.writeHead(200, { 'Content-Type': 'application/octet-stream' })
  for (let at = from; at < to && open; at += 10_000) {
    while (id === 'late' && stalled && at >= 5 * RATE && open) await new Promise((r) => setTimeout(r, 5))
    const piece = new Float32Array(2 * Math.min(10_000, to - at))
    for (let k = 0; k < piece.length / 2; k++) {
      piece[2 * k] = body(at + k + shift)
      piece[2 * k + 1] = scratch(at + k)
    }
    if (!res.write(Buffer.from(piece.buffer))) await new Promise((r) => { wake = () => r(null) })
    await new Promise(setImmediate)
  }
  res.end()
}

function file(req, res, path) {
  const size = statSync(path).size
  const asked = /^bytes=(\d+)-(\d*)$/.exec(req.headers.range ?? 'bytes=0-')
  const from = Number(asked[1]), to = asked[2] ? Number(asked[2]) : size - 1
  res.writeHead(206, { 'Content-Type': 'video/mp4', 'Content-Length': to - from + 1, 'Content-Range': `bytes ${from}-${to}/${size}`, 'Accept-Ranges': 'bytes' })
  createReadStream(path, { start: from, end: to }).pipe(res)
}

const policy = "default-src 'none'; script-src 'self'; img-src 'self' data:; media-src 'self'; connect-src 'self'; worker-src 'self'"
const server = createServer((req, res) => {
  const url = new URL(req.url ?? '/', 'http://localhost')
  const [, , kind, id, what] = url.pathname.split('/')
  if (what === 'listen') return void listen(res, id, url.searchParams)
  if (what === 'loudness') return res.end(JSON.stringify(id === 'loud' ? loud : { body_lufs: null, scratch_lufs: null, whole: true }))
  if (kind === 'recordings' && (what === 'file' || what === 'picture')) return id === 'unplayable' && what === 'file' ? res.writeHead(200, { 'Content-Type': 'video/mp4' }).end('nothing') : file(req, res, path)
  if (what === 'still' || url.pathname === '/favicon.ico') return res.writeHead(204).end()
  if (url.pathname === '/go-on') return (stalled = false), res.end()
  if (url.pathname === '/says') return heardOf.push(JSON.parse(url.searchParams.get('state') ?? '')), res.end()
  if (url.pathname === '/gesture') return res.writeHead(200, { 'Content-Type': 'text/html', 'Content-Security-Policy': policy }).end('<!doctype html><title>Measuring</title><script type="module" src="/test/listen-gesture.mjs"></script>')
  if (url.pathname === '/') return res.writeHead(200, { 'Content-Type': 'text/html', 'Content-Security-Policy': policy }).end('<!doctype html><title>Measuring</title><main></main>')
  const at = normalize(join(page, url.pathname))
  try {
    const text = readFileSync(at)
    res.writeHead(200, { 'Content-Type': 'text/javascript', 'Content-Security-Policy': policy }).end(text)
  } catch {
    res.writeHead(404).end()
  }
})
await new Promise((r) => server.listen(0, '127.0.0.1', () => r(null)))

const puppeteer = createRequire(import.meta.url)('puppeteer-core')
const launch = (policy) => puppeteer.launch({
  executablePath: process.env.CHROMIUM ?? execFileSync('which', ['chromium']).toString().trim(),
  args: ['--no-sandbox', '--disable-dev-shm-usage', `--autoplay-policy=${policy}`, '--js-flags=--max-old-space-size=4096'],
  protocolTimeout: 1_800_000,
})
const browser = await launch('no-user-gesture-required')
const tab = await browser.newPage()
tab.on('console', (m) => console.log('  page:', m.text()))
tab.on('pageerror', (e) => console.log('  page:', e))
await tab.goto(`http://127.0.0.1:${server.address().port}/`)
await tab.evaluate(async () => {
  window.m = await import('/test/listen-inpage.mjs')
})

let bad = 0
function figure(what, value, ok) {
  if (!ok) bad++
  console.log(`${ok ? 'ok ' : 'BAD'} ${what}: ${value}`)
}

const parts = {
  async aligned() {
    const r = await tab.evaluate((minutes) => window.m.aligned(minutes), Number(ask.minutes))
    figure(`both microphones over ${ask.minutes} min, frames that are not the source's own at their place`, `${r.wrong} of ${r.frames}`, r.wrong === 0 && r.frames > 1e6)
    figure('found by correlation, scratch after body, first second and last', `${r.first} and ${r.last} samples, true 137`, r.first === 137 && r.last === 137)
    figure('memory held by the page, blocks of 85 ms', r.held, r.held < 320)
  },
  async flips() {
    for (const id of ['sine', 'noise']) {
      const r = await tab.evaluate((id) => window.m.flips(id), id)
      figure(`50 flips on ${id}, largest step beyond the signal's own`, `${r.step.toFixed(2)} dBFS (a hard cut: ${r.cut.toFixed(1)})`, r.step <= -60 && r.cut > -20)
      if (id === 'sine') figure('  largest value above 3 kHz', `${r.above.toFixed(1)} dBFS`, r.above < -60)
    }
  },
  async loudness() {
    for (const volume of [1, 0.1]) {
      const of = {}
      for (const mode of ['body', 'scratch']) {
        const b64 = await tab.evaluate((mode, volume) => window.m.heard('loud', mode, volume, 20), mode, volume)
        const all = new Float32Array(Uint8Array.from(Buffer.from(b64, 'base64')).buffer)
        of[mode] = lufs(wav([all.subarray(0, all.length / 2), all.subarray(all.length / 2)]))
      }
      figure(`loudness at volume ${volume}: body, scratch (sources ${loud.body_lufs}, ${loud.scratch_lufs} LUFS)`, `${of.body}, ${of.scratch} LUFS`, Math.abs(of.body - of.scratch) <= 0.5)
    }
  },
  async loop() {
    const r = await tab.evaluate(() => window.m.looping())
    figure(`${r.joins} joins of a loop of ${r.length} frames, largest value above 3 kHz`, `${r.above.toFixed(1)} dBFS (a hard cut: ${r.cut.toFixed(1)})`, r.above < -60 && r.cut > -40 && r.joins > 5)
    figure('  frames outside of the joins that are not the source at their place', r.wrong, r.wrong === 0)
  },
  async late() {
    stalled = true
    const r = await tab.evaluate(() => window.m.late())
    figure('sound that comes late: largest step', `${r.step.toFixed(1)} dBFS`, r.step <= -60)
    figure('  silent for, going on at the frame it stopped at', `${r.gap.toFixed(2)} s, ${r.lost} frames lost`, r.gap > 0.5 && r.lost === 0)
  },
  async line() {
    const r = await tab.evaluate(() => window.m.lines())
    figure('another line while playing: largest value above 3 kHz', `${r.above.toFixed(1)} dBFS`, r.above < -60)
    figure('  frames that are not of the new line, after it', r.wrong, r.wrong === 0)
  },
  async live() {
    const r = await tab.evaluate(() => window.m.live())
    figure(`played live ${r.seconds.toFixed(1)} s while the page is kept busy: frames that are not the source's`, `${r.wrong} of ${r.frames}`, r.wrong === 0 && r.frames > 10 * RATE)
    figure('  time told, behind what is rendered', `${r.late.toFixed(1)} ms (the device tells of ${r.told.toFixed(1)})`, r.late >= -1 && r.late < 200)
    console.log(`      95 % of ${r.n} times told are within ${r.jitter.toFixed(1)} ms of even`)
    console.log(`      from seek() to sound: ${r.held.toFixed(1)} ms where it is held, ${r.away.toFixed(1)} ms where it is fetched`)
  },
  async gesture() {
    // Nothing is evaluated in this page: that would count as a gesture.
    const strict = await launch('document-user-activation-required')
    const other = await strict.newPage()
    await other.goto(`http://127.0.0.1:${server.address().port}/gesture`)
    const until = async (wanted) => {
      for (let i = 0; i < 500 && !heardOf.some(wanted); i++) await new Promise((r) => setTimeout(r, 10))
      return heardOf.some(wanted)
    }
    const blocked = await until((s) => s.blocked)
    const early = heardOf.some((s) => s.time > 0)
    await other.mouse.click(50, 50)
    const plays = await until((s) => !s.blocked && s.time > 0.5)
    await strict.close()
    figure('without a gesture: says so, and stands', `${blocked} ${!early}`, blocked && !early)
    figure('  after a click it plays', plays, plays)
  },
  async picture() {
    const r = await tab.evaluate((fps) => window.m.picture(fps), fps)
    figure('paused: frames shown that are not the frame asked for', `${r.wrongFrames} of ${r.asked}`, r.wrongFrames === 0 && r.asked > 20)
    for (const [what, p] of Object.entries(r.runs)) figure(`playing, ${what}: picture after sound, median, 95 % within`, `${p.ms.toFixed(1)} ms, ${p.within_ms.toFixed(1)} ms over ${p.frames} frames; in step after ${p.settled.toFixed(2)} s`, p.within_ms < 1000 / fps / 2 + 17 && Math.abs(p.ms) < 1000 / fps / 2)
    figure('a clip the browser cannot show', r.copy, r.copy === 'copy')
  },
}

for (const [name, run] of Object.entries(parts)) if (!ask.only || ask.only === name) await run()
await browser.close()
server.close()
server.closeAllConnections()
rmSync(folder, { recursive: true })
process.exit(bad ? 1 : 0)
