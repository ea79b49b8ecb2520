// A stand-in for the program, for working on the page: every route of
// docs/desk.md with a made-up shoot. Needs Node 20 and the system's ffmpeg.
//
//   node internal/web/page/test/mock.mjs --port 8123 --takes 12
//
// --takes N, --minutes M (the first clip's length), --empty (an empty desk;
// whatever is added brings the shoot), --wait MS (before every answer).
import { createReadStream, readFileSync, statSync } from 'node:fs'
import { createServer } from 'node:http'
import { dirname, extname, join, normalize } from 'node:path'
import { fileURLToPath } from 'node:url'
import { parseArgs } from 'node:util'
import { makeDesk } from './mock/desk.mjs'
import { film, loop, makePictures } from './mock/media.mjs'
import { bin, body, scratch } from './mock/waves.mjs'
import { detail, soundTime } from './mock/world.mjs'

const page = join(dirname(fileURLToPath(import.meta.url)), '..')
const { values: ask } = parseArgs({ options: { port: { type: 'string', default: '8123' }, takes: { type: 'string', default: '12' }, minutes: { type: 'string', default: '0' }, wait: { type: 'string', default: '0' }, empty: { type: 'boolean', default: false } } })
const desk = makeDesk({ takes: +ask.takes, minutes: +ask.minutes, empty: ask.empty })
const world = desk.world
const pictures = makePictures()
const copies = new Set() // of which small copies were asked for: whoever asks first is to ask again

const types = { '.html': 'text/html; charset=utf-8', '.js': 'text/javascript', '.css': 'text/css', '.svg': 'image/svg+xml', '.json': 'application/json' }
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; media-src 'self' blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

const json = (res, value, status = 200) => res.writeHead(status, { 'Content-Type': 'application/json' }).end(JSON.stringify(value ?? null))
const wrong = (res, status, error, hint = '') => json(res, { error, hint }, status)
const bytes = (res, buffer, head) => res.writeHead(200, { 'Content-Type': 'application/octet-stream', 'Cache-Control': 'private, max-age=600', ...head }).end(Buffer.from(buffer.buffer ?? buffer, buffer.byteOffset ?? 0, buffer.byteLength))

/** wave is what a recording holds at its second s. */
function wave(id) {
  const r = world.recordings.find((r) => r.id === id)
  const seed = world.seeds.get(id)
  if (r?.kind !== 'clip') return { r, at: (s) => body(seed, s), fn: body, seed, to: (s) => s, gain: 1 }
  const to = (t) => soundTime(world, id, t)
  return { r, at: (t) => scratch(seed, to(t)), fn: scratch, seed, to, gain: 0.32 }
}

function peaks(res, id, q) {
  const { r, fn, seed, to, gain } = wave(id)
  const length = (64 * 4 ** (+q.get('level') || 0)) / 16000
  const all = Math.ceil(r.length_s / length)
  const from = Math.min(all, Math.max(0, +q.get('from') || 0))
  const n = Math.min(all - from, +(q.get('n') ?? 65536), 65536)
  const out = Buffer.alloc(n * 6)
  const full = (v) => Math.max(-32767, Math.min(32767, Math.round(v * 32767)))
  for (let k = 0; k < n; k++) {
    const [low, high, rms] = bin(fn, seed, to((from + k) * length), length, gain)
    out.writeInt16LE(full(low), k * 6)
    out.writeInt16LE(full(high), k * 6 + 2)
    out.writeUInt16LE(full(rms), k * 6 + 4)
  }
  bytes(res, out, { 'Earshot-Bins': String(all) })
}

function samples(res, id, q) {
  const { r, at } = wave(id)
  const from = +q.get('from') || 0
  const n = Math.max(0, Math.min(+(q.get('n') ?? 48000), 480000, Math.floor(r.length_s * 48000) - from))
  bytes(res, Float32Array.from({ length: n }, (_, k) => at((from + k) / 48000)), { 'Earshot-Rate': '48000' })
}

function mirror(res, id, q) {
  const n = Math.min(2000, +(q.get('n') ?? 200))
  const length = desk.recording(id).length_s
  const out = Buffer.alloc(n * 4)
  const line = desk.take(id)?.line
  for (let k = 0; k < n; k++) {
    const t = (k * length) / n
    for (const [c, w, s] of [[0, body, soundTime(world, id, t, line)], [2, scratch, soundTime(world, id, t)]]) {
      const [low, high, rms] = bin(w, world.seeds.get(id), s, Math.max(0.08, length / n), 1)
      out[k * 4 + c] = Math.min(255, Math.max(-low, high) * 250)
      out[k * 4 + c + 1] = Math.min(255, rms * 480)
    }
  }
  bytes(res, out)
}

function strip(res, q) {
  const at = +q.get('at') || 0
  const n = Math.min(101, +(q.get('n') ?? 11))
  const first = Math.max(0, Math.floor(at * 25 + 1e-9) - (n >> 1))
  const frames = Array.from({ length: n }, (_, k) => ({ at_s: (first + k) / 25, until_s: (first + k + 1) / 25, jpeg: pictures.strip[(first + k) % (loop * 25)].toString('base64') }))
  json(res, { frames, middle: Math.floor(at * 25 + 1e-9) - first })
}

async function listen(req, res, id, q) {
  const clip = desk.recording(id)
  const take = desk.take(id)
  const seed = world.seeds.get(q.get('sound') || take?.sound || id)
  const line = q.has('offset') ? { offset_s: +q.get('offset'), drift_ppm: +(q.get('drift') ?? 0) } : take?.line
  const end = +q.get('to') || Math.round(clip.length_s * 48000)
  const own = wave(id)
  const sound = desk.recording(q.get('sound') || take?.sound)
  let open = true
  req.on('close', () => (open = false))
  res.on('close', () => (open = false))
  res.writeHead(200, { 'Content-Type': 'application/octet-stream', 'Cache-Control': 'no-store' })
  for (let f = +q.get('from') || 0; f < end && open; f += 12000) {
    const block = new Float32Array(2 * Math.min(12000, end - f))
    for (let k = 0; k < block.length / 2; k++) {
      const t = (f + k) / 48000
      const s = line ? line.offset_s + (1 + line.drift_ppm * 1e-6) * t : t
      block[2 * k] = sound && s >= 0 && s < sound.length_s ? body(seed, s) : 0
      block[2 * k + 1] = own.at(t)
    }
    if (!res.write(Buffer.from(block.buffer))) await new Promise((r) => { res.once('drain', r); res.once('close', r) })
    await new Promise(setImmediate)
  }
  res.end()
}

function file(req, res, path, type) {
  const size = statSync(path).size
  const asked = /^bytes=(\d*)-(\d*)$/.exec(req.headers.range ?? '')
  if (!asked) return createReadStream(path).pipe(res.writeHead(200, { 'Content-Type': type, 'Content-Length': size, 'Accept-Ranges': 'bytes' }))
  const from = asked[1] ? +asked[1] : size - +asked[2]
  const to = asked[1] && asked[2] ? Math.min(size - 1, +asked[2]) : size - 1
  res.writeHead(206, { 'Content-Type': type, 'Content-Length': to - from + 1, 'Content-Range': `bytes ${from}-${to}/${size}`, 'Accept-Ranges': 'bytes' })
  createReadStream(path, { start: from, end: to }).pipe(res)
}

/** sounding is a film with the first minute of a wave. */
function sounding(name, length, at) {
  const n = Math.min(60, length) * 48000
  return film(name, length, Float32Array.from({ length: n }, (_, k) => at(k / 48000)))
}

function recordingRoute(req, res, id, what, q) {
  const r = desk.recording(id)
  if (!r) return wrong(res, 404, 'look at a recording: there is none of this name', 'load the page again')
  if (what === 'peaks') return peaks(res, id, q)
  if (what === 'samples') return samples(res, id, q)
  if (what === 'still') return bytes(res, pictures.stills[Math.abs(parseInt(id.slice(1), 36)) % 12], { 'Content-Type': 'image/jpeg' })
  if (what === 'strip') return strip(res, q)
  if (what === 'picture' && !copies.has(id)) return copies.add(id) && json(res, { made: false }, 202)
  if (what === 'picture') return req.method === 'POST' ? res.writeHead(204).end() : file(req, res, film(id, r.length_s), 'video/mp4')
  if (what === 'file') return file(req, res, sounding(id, r.length_s, wave(id).at), 'video/mp4')
  return wrong(res, 404, 'no such thing')
}

async function takeRoute(req, res, id, what, q) {
  if (what === 'word') {
    const t = desk.word(id, await said(req))
    return t === undefined ? wrong(res, 404, 'say something of a clip: there is no such clip') : json(res, t)
  }
  if (what === 'listen') return listen(req, res, id, q)
  if (what === 'mirror') return mirror(res, id, q)
  const take = desk.take(id)
  if (!take) return wrong(res, 404, 'look at a take: this clip has none', 'go back to the wall')
  if (!what) return json(res, desk.detail(id, q.get('sound')))
  if (what === 'loudness') return json(res, { body_lufs: -19.4, scratch_lufs: -31.2, whole: true })
  if (what === 'measure') {
    const near = await said(req)
    const off = near.sound_s - soundTime(world, id, near.at_s)
    await new Promise((r) => setTimeout(r, 500))
    return Math.abs(off) < 2 ? json(res, { found: detail(world, { ...take, line: world.truth.get(id) }), why: '' }) : json(res, { found: null, why: 'nothing both heard within 2 s of there' })
  }
  return wrong(res, 404, 'no such thing')
}

async function said(req) {
  let all = ''
  for await (const part of req) all += part
  return all ? JSON.parse(all) : {}
}

function places(res, q) {
  const path = q.get('path')
  if (!path) return json(res, { places: [{ name: 'Home', path: '/home/maker', kind: 'home' }, { name: 'CARD_A', path: '/media/CARD_A', kind: 'drive' }] })
  const depth = path.split('/').length
  if (path.includes('locked')) return wrong(res, 403, `look into "${path}": permission denied`, 'open it in the file browser and see who may read it')
  const names = depth < 6 ? ['CARD_A', 'RECORDER', 'Old shoots', 'locked', 'Very long folder name of a day on which much was recorded'] : []
  json(res, {
    path, up: depth > 3 ? dirname(path) : '',
    folders: names.map((name, i) => ({ name, path: `${path}/${name}`, recordings: [8, 3, 0, 0, 1240][i] })),
    recordings: depth > 3 ? Array.from({ length: 9 }, (_, i) => ({ name: `C00${10 + i}.MP4`, path: `${path}/C00${10 + i}.MP4`, bytes: 2 ** 27 * (i + 1) })) : [],
  })
}

function events(req, res, q) {
  res.writeHead(200, { 'Content-Type': 'text/event-stream', 'Cache-Control': 'no-store' })
  const send = (p) => res.write(`event: change\nid: ${p.version}\ndata: ${JSON.stringify(p)}\n\n`)
  const since = +(req.headers['last-event-id'] ?? q.get('since') ?? -1)
  const { undo, redo, ...now } = desk.whole()
  send(since === desk.version ? { version: desk.version } : { ...now, all: true, history: { undo, redo } })
  desk.watchers.add(send)
  res.on('close', () => desk.watchers.delete(send))
}

async function api(req, res, path, q) {
  const [, kind, id, what] = path.split('/').slice(1).map(decodeURIComponent)
  const route = `${req.method} ${path}`
  if (route === 'GET /api/state') return json(res, desk.whole())
  if (kind === 'events') return events(req, res, q)
  if (kind === 'recordings') return recordingRoute(req, res, id, what, q)
  if (kind === 'takes') return takeRoute(req, res, id, what, q)
  if (kind === 'places') return places(res, q)
  if (route === 'PATCH /api/words') {
    for (const { take, change } of (await said(req)).words) desk.word(take, change)
    return res.writeHead(204).end()
  }
  if (route === 'POST /api/undo') return json(res, desk.undo())
  if (route === 'POST /api/redo') return json(res, desk.redo())
  if (kind === 'dropped') for await (const _ of req);
  if (kind === 'paths' || kind === 'demo' || kind === 'dropped') {
    const { add, remove } = kind === 'paths' ? await said(req) : { add: ['/home/maker/Pier/added'] }
    if (remove?.length) desk.remove(remove)
    if (add?.length && !desk.state.work.busy) desk.add(add)
    return json(res, {})
  }
  if (kind === 'marry') {
    if (req.method === 'DELETE') desk.stop()
    else desk.marry(await said(req))
    return json(res, {})
  }
  if (kind === 'married') return file(req, res, sounding(`${id}-m`, desk.recording(id).length_s, (t) => body(world.seeds.get(id), soundTime(world, id, t))), 'video/mp4')
  if (kind === 'reveal') return json(res, {})
  if (kind === 'quit') return json(res, {}), setTimeout(() => process.exit(0), 50)
  return wrong(res, 404, `there is no ${route}`)
}

createServer(async (req, res) => {
  const url = new URL(req.url, 'http://localhost')
  if (+ask.wait) await new Promise((r) => setTimeout(r, +ask.wait))
  try {
    if (url.pathname.startsWith('/api/')) return await api(req, res, url.pathname, url.searchParams)
    const path = normalize(join(page, url.pathname === '/' ? 'index.html' : url.pathname))
    if (!path.startsWith(page)) return res.writeHead(404).end()
    res.writeHead(200, { 'Content-Type': types[extname(path)] ?? 'application/octet-stream', 'Content-Security-Policy': policy, 'Cache-Control': 'no-cache' }).end(readFileSync(path))
  } catch (err) {
    if (err.code !== 'ENOENT') console.error(req.method, req.url, err)
    if (!res.headersSent) res.writeHead(err.code === 'ENOENT' ? 404 : 500).end(String(err))
    else res.end()
  }
}).listen(+ask.port, '127.0.0.1', () => console.log(`http://localhost:${ask.port}/`))
