// Pictures for the mock, made with the system's ffmpeg: stills, true frames, small films.
import { execFileSync } from 'node:child_process'
import { existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'

const dir = mkdtempSync(join(tmpdir(), 'earshot-mock-'))
const run = (...args) => execFileSync('ffmpeg', ['-v', 'error', '-y', ...args], { stdio: ['ignore', 'inherit', 'inherit'] })

/** The mock's film repeats after so many seconds, at 25 frames each. */
export const loop = 20

// Hills, a low sun and something that moves, so that frames differ.
const scene = (k) => {
  const hill = `(${90 + 8 * (k % 5)}+22*sin(X/${37 + (k % 7) * 9}+${k})+9*sin(X/11+${k * 2}))`
  const walker = `lt(hypot(X-mod(T*${23 + k}\\,320),(Y-120)/2.2),7)`
  return `nullsrc=s=320x180:r=25,geq=lum='if(${walker},30,if(gt(Y,${hill}),${60 + (k % 4) * 12}+Y/6,${150 + (k % 3) * 20}-Y/3))':cb='if(gt(Y,${hill}),${118 + (k % 5) * 4},${120 + (k % 4) * 9})':cr='if(gt(Y,${hill}),${124 + (k % 6) * 5},${116 + (k % 3) * 8})'`
}

export function makePictures() {
  mkdirSync(join(dir, 'strip'))
  run('-f', 'lavfi', '-t', String(loop), '-i', scene(3), '-c:v', 'libx264', '-preset', 'veryfast', '-pix_fmt', 'yuv420p', '-g', '10', '-bf', '0', join(dir, 'base.mp4'))
  run('-i', join(dir, 'base.mp4'), '-vf', 'scale=160:90', '-q:v', '6', join(dir, 'strip', '%05d.jpg'))
  const strip = readdirSync(join(dir, 'strip')).sort().map((f) => readFileSync(join(dir, 'strip', f)))
  const stills = Array.from({ length: 12 }, (_, k) => {
    run('-f', 'lavfi', '-i', scene(k * 3 + 1), '-frames:v', '1', '-q:v', '5', join(dir, `still${k}.jpg`))
    return readFileSync(join(dir, `still${k}.jpg`))
  })
  return { strip, stills }
}

/** film is an MP4 of so many seconds without sound; with samples, with them as its sound. */
export function film(id, seconds, samples) {
  const out = join(dir, `${id}${samples ? '-loud' : ''}.mp4`)
  if (existsSync(out)) return out
  const sound = samples ? ['-f', 'f32le', '-ar', '48000', '-ac', '1', '-i', 'pipe:0', '-c:a', 'aac', '-b:a', '96k'] : []
  execFileSync('ffmpeg', ['-v', 'error', '-y', '-stream_loop', '-1', '-i', join(dir, 'base.mp4'), ...sound, '-t', String(seconds), '-c:v', 'copy', '-movflags', '+faststart', out], { input: samples && Buffer.from(samples.buffer), stdio: ['pipe', 'inherit', 'inherit'] })
  return out
}
