// The page's types, for checking it; nothing of this is sent to a browser. First
// the JSON of internal/desk/state.go, where units and signs are said.

/** more: of so many other clips it was said with it */
export interface Step { label: string; take: string; more: number }
export interface Line { offset_s: number; drift_ppm: number }
export interface Word { approved: boolean; sound?: string; line: Line | null; refused?: string[]; name?: string; note?: string }
export interface Shoot { folder: string; name: string; paths: string[] | null }
export interface Work { busy: boolean; step?: string; file?: string; done: number; total: number; error?: string; hint?: string }
export interface Picture { width: number; height: number; fps: number; rate: string; start_s: number; codec: string; timecode?: string; type: string }
export interface Track { rate: number; channels: number; silent?: boolean }
export interface Recording {
  id: string; path: string; name: string; kind: 'clip' | 'sound' | ''; state: 'waiting' | 'reading' | 'read' | 'failed'; done: number; error?: string
  length_s: number; made?: string; day_s: number | null; device: string; picture: Picture | null; tracks: Track[] | null; alone?: string[]; refused?: string[]
}
export interface Take {
  id: string; sound: string; others: string[] | null; verdict: 'sure' | 'unsure' | 'weighing' | 'hand'; status: 'look' | 'done'; why: string[] | null; chance_of_error: number
  line: Line; moved_ms: number; seam_ms: number; from_s: number; to_s: number; word: Word
}
export interface Left { at_s: number; late_ms: number }
export interface Proof { state: 'in sync' | 'out of sync' | 'could not tell'; late_ms: number; late_sigma_ms: number; seam_p95_ms: number; windows: Left[] | null; why: string[] | null }
export interface Married { take: string; out?: string; state: 'written' | 'kept' | 'passed' | 'failed'; why?: string[]; error?: string; proof: Proof | null }
export interface Marriage { busy: boolean; done: number; total: number; file?: string; to: string; clips: Married[] | null; report?: string; error?: string; hint?: string }
export interface State {
  version: number; shoot: Shoot; work: Work; recordings: Recording[]; takes: Take[]; undo: Step | null; redo: Step | null; marriage: Marriage; notes: string[] | null
}
export interface Patch {
  version: number; all?: boolean; shoot?: Shoot; work?: Work; recordings?: Recording[]; takes?: Take[]; gone?: string[]
  history?: { undo: Step | null; redo: Step | null }; marriage?: Marriage; notes?: string[] | null
}
export interface Span { from_s: number; to_s: number; offset_s: number; drift_ppm: number }
export interface Window { at_s: number; sound_s: number; error_ms: number; heard: boolean }
export interface Clap { clip_s: number; sound_s: number }
export interface Candidate { sound: string; line: Line; strength: number; for: string[] | null; against: string[] | null }
export interface Detail {
  take: Take; clip_track: number; sound_track: number; measured: Span[] | null; laid: Span[] | null; windows: Window[] | null; claps: Clap[] | null; candidates: Candidate[] | null
  inverted: boolean; sigma_ms: number; drift_sigma: number | null; through: string[] | null; married: Married | null
}
export interface Change { approved?: boolean; sound?: string; line?: Line | null; refused?: string[]; name?: string; note?: string }
export interface Strip { frames: { at_s: number; until_s: number; jpeg: string }[]; middle: number }
export interface Loudness { body_lufs: number | null; scratch_lufs: number | null; whole: boolean }
export interface Place { name: string; path: string; kind: 'home' | 'drive' }
export interface Folder { path: string; up: string; folders: { name: string; path: string; recordings: number }[] | null; recordings: { name: string; path: string; bytes: number }[] | null }
export interface MarryAsk { to?: string; sound?: string; scratch?: string; gaps?: string; distance?: number; celsius?: number; name?: string; unsure?: boolean; again?: boolean; only?: string[] }

/** What the page asks of the program: the routes of docs/desk.md. All throw Refused but when they are cancelled. */
export interface API {
  state(): Promise<State>
  detail(id: string, sound?: string, signal?: AbortSignal): Promise<Detail>
  /** Says something of a clip; answers its take, null where it has none any more. */
  word(id: string, change: Change): Promise<Take | null>
  /** Says something of several clips, all of it or nothing; undone in one. */
  words(words: { take: string; change: Change }[]): Promise<unknown>
  undo(): Promise<Step | null>
  redo(): Promise<Step | null>
  measure(id: string, near: { sound: string; at_s: number; sound_s: number }, signal?: AbortSignal): Promise<{ found: Detail | null; why: string }>
  places(signal?: AbortSignal): Promise<{ places: Place[] | null }>
  folder(path: string, signal?: AbortSignal): Promise<Folder>
  add(paths: string[]): Promise<unknown>
  remove(paths: string[]): Promise<unknown>
  /** A file dropped on the page. */
  dropped(file: File, signal?: AbortSignal): Promise<unknown>
  demo(): Promise<unknown>
  /** Bins of a wave, full scale 32767. of: how many there are at the level. */
  peaks(id: string, which: { track?: number; level?: number; from?: number; n?: number }, signal?: AbortSignal): Promise<Peaks>
  /** Mono samples at the track's own rate; from and n in frames. */
  samples(id: string, which: { track?: number; from?: number; n?: number }, signal?: AbortSignal): Promise<{ samples: Float32Array; rate: number }>
  /** n columns of four: body peak, body level, scratch peak, scratch level, 0 to 255. */
  mirror(id: string, n: number, signal?: AbortSignal): Promise<Uint8Array>
  stillURL(id: string, at: number, w: number): string
  blob(url: string, signal?: AbortSignal): Promise<Blob>
  strip(id: string, which: { at: number; n?: number; w?: number }, signal?: AbortSignal): Promise<Strip>
  fileURL(id: string): string
  pictureURL(id: string): string
  /** Makes the small picture ahead. */
  copied(url: string, signal?: AbortSignal): Promise<void>
  makePicture(id: string, signal?: AbortSignal): Promise<unknown>
  /** Both microphones on the clip's clock: a stream of interleaved float32 at 48000 Hz. from and to in frames, drift in ppm. */
  listen(id: string, which: { from?: number; to?: number; sound?: string; offset?: number; drift?: number }, signal?: AbortSignal): Promise<Response>
  loudness(id: string, sound?: string, signal?: AbortSignal): Promise<Loudness>
  marry(choices: MarryAsk): Promise<unknown>
  stopMarrying(): Promise<unknown>
  marriedURL(id: string): string
  marriedPictureURL(id: string): string
  reveal(what: { what?: 'married'; take?: string }): Promise<unknown>
  quit(): Promise<unknown>
}
export interface Peaks { low: Int16Array; high: Int16Array; rms: Uint16Array; of: number }

/** Keeps a state and tells whoever listens what changed; subscribe answers how to end it. */
export interface Store {
  get(): State
  apply(patch: Patch): void
  subscribe(fn: (state: State, patch: Patch) => void): () => void
}

/** What every screen is opened with. */
export interface Desk {
  api: API
  store: Store
  /** Leads to an address, as "#/take/ID". */
  go(hash: string): void
  /** Says something in passing, also to those who listen. */
  tell(text: string, hint?: string): void
  /** Says what went wrong; nothing when it was only cancelled. */
  fail(err: unknown): void
  /** Ids of what is chosen on the wall. */
  chosen: Set<string>
  /** Ends the program. */
  quit(): void
}
export interface Screen { close(): void; key?(event: KeyboardEvent): boolean }
export type Open = (root: HTMLElement, desk: Desk & { id: string }) => Screen

/** One thing on the wall. */
export interface Item { id: string; kind: 'take' | 'alone' | 'failed' | 'waiting'; recording: Recording; take?: Take; name: string }
export type Filter = 'look' | 'done' | 'alone' | 'all'
export type Sort = 'time' | 'name' | 'length' | 'doubt'
export interface Part { part: 'takes' | 'alone' | 'failed'; items: Item[] }
/** A sound with the clips along it. */
export interface Along { sound: Recording; clips: Recording[] }

/** A row of the wall: CSS pixels from the grid's top; n: of a title, how many come under it. */
export interface Row { index: number; top: number; height: number; title: Part['part'] | ''; n: number; items: Item[] }
/** What is drawn of an item; null where there is nothing. */
export interface Look { columns: Uint8Array | null; picture: ImageBitmap | null }
/** A tile's elements; look: what its canvas shows, w CSS pixels wide. */
export interface Tile {
  el: HTMLElement; canvas: HTMLCanvasElement; name: HTMLElement; length: HTMLElement; word: HTMLElement; why: HTMLElement
  item: Item | null; look: Look | null; w: number
}
/** A lane of the day in CSS pixels; water: where the shore stands and its clips begin. */
export interface Lane { top: number; water: number; height: number; sounds: Recording[]; clips: { clip: Recording; top: number }[] }
