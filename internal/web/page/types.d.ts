// The JSON of internal/desk/state.go, for checking the page's types. Units and
// signs are said there.

export interface Step { label: string; take: string }
export interface Line { offset_s: number; drift_ppm: number }
export interface Word { approved: boolean; sound?: string; line: Line | null; refused?: string[]; name?: string; note?: string }
export interface Shoot { folder: string; name: string; paths: string[] | null }
export interface Work { busy: boolean; step?: string; file?: string; done: number; total: number; error?: string; hint?: string }
export interface Picture { width: number; height: number; fps: number; rate: string; start_s: number; codec: string; timecode?: string; type: string }
export interface Track { rate: number; channels: number; silent?: boolean }
export interface Recording {
  id: string; path: string; name: string; kind: 'clip' | 'sound' | ''; state: 'waiting' | 'reading' | 'read' | 'failed'; done: number; error?: string
  length_s: number; made?: string; day_s: number | null; device: string; picture: Picture | null; tracks: Track[] | null; alone?: string[]
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
