/** Shapes that the server sends; see docs/bench-protocol.md. */
export interface RodReading {
  rod: number; deviation: number | null; deviation_sd: number | null; taps: number;
  heard_low_hz: number | null; heard_low_cents: number | null; heard_ring_hz: number | null;
}
export interface HeadMode {
  diameters: number | null; circles: number | null; frequency_hz: number;
  frequency_sd_hz: number; t60_s: number | null; level_db: number;
}
export interface Band { level: number; step: number; shapes: [number, number][][][]; }
export interface Moved {
  rods: { rod: number; change: number; sd: number; moved: boolean }[];
  mean: number; mean_sd: number; note_cents: number; note_sd_cents: number; settled: boolean;
}
export interface Reading {
  rods: RodReading[]; tensions_refused: string | null;
  plan_refused: string | null;
  mean_tension_n_m: number | null; mean_tension_sd_n_m: number | null;
  note_hz: number; note_sd_hz: number; note_name: string; note_ring_s: number | null;
  glide_cents: number; rival_hz: number | null; modes: HeadMode[]; beats_hz: number[];
  trust: { level: "high" | "low" | "none"; sentences: string[]; misfit: number;
    sure_harmonics: number[] } | null;
  advice: string[];
  ask: { kind: "tap" | "trial turn" | "harder tip" | "halfway"; rod: number; turns: number;
    sentence: string; or_halfway?: boolean } | null;
  second: { deviations: number[]; odds: number } | null;
  contact_ms: number | null; left_out: number[]; rms: number | null; field: Band[];
  moved: Moved | null;
}
export interface Plan {
  rods: number[]; order: number[]; expected: number[]; expected_sd: number[];
  expected_mean_tension_n_m: number; expected_note_hz: number;
  safety: "ok" | "warn"; sentences: string[];
}
export interface KeptTap {
  take: string; rod: number | null; onset_s: number; strength_db: number; snr_db: number;
  name: string;
}
/** A place is a rod's number, and half more halfway to the next rod clockwise. */
export interface Round {
  number: number; purpose: "even" | "seat"; source: "microphone" | "files" | "practice";
  order: number[]; places: number[]; wanted: number[]; taps: KeptTap[]; chosen: number | null;
  processing: "raw" | "on" | "unknown"; settings: Record<string, unknown>;
  reading: Reading | null; plan: Plan | null; turned: number[] | null;
  next_rod: number | null; counts: number[];
}
export interface Drum {
  name: string; kind: "snare" | "tom" | "kick"; rods: number; diameter_m: number;
  depth_m: number; film_m: number; plies: number; thin: boolean;
  side: "batter" | "snare_side" | "resonant"; other_head: "off" | "muted" | "ringing";
  two_heads: boolean; mark: "strainer" | "badge"; first_pass: number[];
}
/** Planned passes over a fresh head; `most_` figures hold if all of every turn arrives. */
export interface Mounting {
  passes: { turns: number; most_tension_n_m: number; most_load: number; most_note_hz: number;
    most_note_name: string }[];
  seat_note_hz: number; seat_note_name: string; fine_turns: number; sentences: string[];
}
export interface Step { rod: number; turns: number; made: boolean | null; }
export type StateName =
  "bare" | "ready" | "listening" | "sorting" | "reading" | "read" | "turning";
export interface Session {
  state: StateName; stage: "mount" | "even" | "seat"; marks: string[]; drum: Drum | null;
  mounting: Mounting | null; practice: boolean; round: Round | null;
  previous: { rods: RodReading[]; note_hz: number; expected: number[] | null } | null;
  history: { number: number; purpose: string; rms: number | null; note_hz: number;
    turned: boolean }[];
  steps: Step[]; trial: boolean;
  ear: { stream: number; rate: number; judged_frame: number } | null;
  notice: { code: string; sentence: string } | null;
}
export interface TapEvent {
  kind: "tap"; rod: number | null; good: boolean; reason: string | null; sentence: string;
  strength_db: number; snr_db: number; end_frame: number; rate: number; take: string | null; busy: boolean;
}
export interface Prefs {
  tension: "percent" | "cents" | "hz"; turn: "fraction" | "degrees"; length: "in" | "mm";
  theme: "system" | "light" | "dark"; beep: boolean; speech: boolean;
  order: "around" | "star" | "halfway"; taps: number;
}
/** What the page knows besides the session. */
export interface App {
  session: Session | null; link: "joining" | "open" | "away"; prefs: Prefs;
  ear: EarState; lastTap: TapEvent | null; notice: { code: string; sentence?: string } | null;
  tables: Tables | null; phone: Phone | null; panel: "none" | "help" | "units" | "phone";
  picked: string | null; changing: boolean; setup: SetupForm; lostFrames: number;
}
export interface Phone { address: string; seconds: number; fingerprint: string; }
export interface EarState {
  state: "closed" | "opening" | "open" | "asleep"; processing: "raw" | "on" | "unknown";
  rate: number; name: string;
}
export interface Tables {
  templates: Record<string, Record<string, Record<string, string | number>>>;
  films: Record<string, number>;
}
export interface SetupForm {
  template: string; side: string; other: string; table: Record<string, unknown> | null;
  own: boolean; name: string; kind: string; diameter: string; depth: string; rods: string;
  film: string; film2: string; practice: boolean;
}
/** What a view may do. */
export interface Act {
  send(message: Record<string, unknown>): void;
  change(patch: Partial<App>): void;
  prefer(patch: Partial<Prefs>): void;
  listen(): void;
  stopListening(): void;
  play(take: string): void;
  upload(files: FileList | File[]): void;
  openDrumFile(file: File): void;
  primary(): void;
}
