// The page: keeps what it knows, draws the view that fits, hands keys and events on.
import { Acts } from "./acts.js";
import { put } from "./dom.js";
import { Hearing } from "./hearing.js";
import { onKey } from "./keys.js";
import { Link } from "./link.js";
import { Live } from "./parts/live.js";
import { header, notices, rail } from "./parts/frame.js";
import { placeCue, tally } from "./places.js";
import { applyTheme, loadPrefs } from "./prefs.js";
import { beep, keepAwake, play, speak } from "./sounds.js";
import { narrow } from "./views/common.js";
import { listenView, readingView } from "./views/listen.js";
import { mountView, passRod } from "./views/mount.js";
import { panel } from "./views/panels.js";
import { readView } from "./views/read.js";
import { readyView } from "./views/ready.js";
import { emptySetup, setupView } from "./views/setup.js";
import { sortView } from "./views/sort.js";
import { turnView, turnWords } from "./views/turn.js";
/** @typedef {import("./types").App} App */

/** @type {App} */
let app = {
  session: null, link: "joining", prefs: loadPrefs(), lastTap: null, notice: null, tables: null,
  ear: { state: "closed", processing: "unknown", rate: 0, name: "" },
  phone: null, panel: "none", picked: null, changing: false, setup: emptySetup(), lostFrames: 0,
};
applyTheme(app.prefs);

/** @param {string} id */
const at = (id) => /** @type {HTMLElement} */ (document.getElementById(id));
const places = { header: at("header"), rail: at("rail"), notices: at("notices"), view: at("view"), panel: at("panel"), aloud: at("aloud") };

const scheme = location.protocol === "https:" ? "wss" : "ws";
const link = new Link(`${scheme}://${location.host}/live`, { open: joined, away, event: heard });
const base = document.documentElement.dataset.base ?? "";
const hearing = new Hearing(link, () => app, change, `${base}/own/ear.worklet.js`);
const acts = new Acts(link, hearing, () => app, change);
/** @type {import("./types").Act} */
const bound = acts;
const live = new Live(() => hearing.mic.analyser);
let drawing = false, held = false, putting = false, cue = "";
/** Codes of what the server refused; such a notice goes with the next step that is legal. */
const REFUSALS = new Set();

/** @param {Partial<App>} patch */
function change(patch) {
  const panelOpens = patch.panel === "phone" && app.panel !== "phone";
  app = { ...app, ...patch };
  if (panelOpens) void askPhone();
  if (drawing) return;
  drawing = true;
  queueMicrotask(draw);
}

function view() {
  const state = app.session?.state;
  if (!app.session) return [];
  if (state === "bare" || app.changing) return setupView(app, { ...bound, send: (message) => { putting = true; acts.send(message); } });
  if (state === "listening") return listenView(app, acts, live.node);
  if (state === "reading") return readingView(app);
  if (state === "read") return readView(app, acts);
  if (state === "turning") return turnView(app, acts);
  if (state === "sorting") return sortView(app, acts);
  return app.session.stage === "mount" ? mountView(app, acts) : readyView(app, acts);
}

function draw() {
  if (held) return; // a button must not vanish between press and release
  drawing = false;
  put(places.header, header(app, acts));
  put(places.rail, rail(app, acts));
  put(places.notices, notices(app, acts));
  put(places.view, view());
  put(places.panel, [panel(app, acts)]);
  if (app.session && places.view.dataset.state === undefined) performance.mark("first-view");
  if (app.session) places.view.dataset.state = app.session.state;
  document.body.dataset.link = app.link;
  const words = cueWords();
  if (words === cue) return;
  cue = words;
  places.aloud.textContent = words;
  if (app.prefs.speech && words) aloud();
}

/** What is due now, short enough to be spoken. */
function cueWords() {
  const session = app.session;
  if (session?.state === "listening" && session.round && session.drum) {
    const round = session.round, place = round.next_rod ?? 1;
    return `${placeCue(place, session.drum.rods)}${tally(round, place).have ? ", again" : ""}`;
  }
  const due = session?.steps.find((step) => step.made === null);
  if (session?.state === "turning") return due ? turnWords(due, app) : "All turned. Listen again.";
  if (session?.state === "ready" && session.stage === "mount") return `Rod ${passRod(app) ?? ""}`;
  return session?.state === "read" ? document.querySelector("[data-test=headline]")?.textContent ?? "" : "";
}

function aloud() {
  if (!cue) return;
  hearing.deafen(0.5 + 0.07 * cue.length);
  speak(cue);
}

function joined() {
  hearing.rejoin();
  change({ link: "open", notice: app.notice?.code === "away" ? null : app.notice });
}

function away() {
  if (app.link !== "away") change({ link: "away" });
}

/** An event of the server. @param {any} event */
function heard(event) {
  if (event.kind === "state") arrived(event.session);
  else if (event.kind === "tap") tapped(event);
  else if (event.kind === "ack") hearing.acknowledge(event);
  else if (event.kind === "gap") change({ lostFrames: app.lostFrames + event.frames });
  else if (event.kind === "refused") refused(event);
}

/** @param {import("./types").Session} session */
function arrived(session) {
  const before = app.session?.state;
  const fresh = before !== session.state;
  const settled = fresh || app.changing && changedDrum(session);
  const told = app.notice && REFUSALS.has(app.notice.code) ? null : app.notice;
  change({ session, changing: settled ? false : app.changing, notice: told,
    lastTap: fresh && session.state === "listening" ? null : app.lastTap });
  if (fresh) {
    acts.arrived(session.state);
    void keepAwake(session.state === "listening" || session.state === "turning");
    window.scrollTo({ top: 0 });
  }
  hearing.follow();
  if (session.state === "listening") live.start();
  else live.stop();
}

/** A drum was put on the bench in place of another one. @param {import("./types").Session} session */
function changedDrum(session) {
  const asked = putting;
  putting = false;
  return asked && session.state === "ready";
}

/** @param {import("./types").TapEvent} tap */
function tapped(tap) {
  const clock = hearing.mic.frame;
  const stale = clock - tap.end_frame > 0.2 * tap.rate;
  if (app.prefs.beep && app.session?.round?.source === "microphone" && !stale && !tap.busy) {
    hearing.deafen(0.16);
    beep(tap.good);
  } else if (app.session?.round?.source === "practice" && tap.take) {
    void play(tap.take);
  }
  change({ lastTap: tap });
  requestAnimationFrame(() => {
    if (!clock) return;
    const late = (1000 * (hearing.mic.frame - tap.end_frame)) / tap.rate;
    performance.mark("tap-picture", { detail: late });
  });
}

/** @param {{code: string, sentence: string}} event */
function refused(event) {
  if (event.code === "unknown_stream") {
    hearing.rejoin();
    hearing.follow();
  } else {
    putting = false;
    REFUSALS.add(event.code);
    change({ notice: { code: event.code, sentence: event.sentence } });
  }
}

async function askPhone() {
  const answer = await fetch("/phone.json");
  change({ phone: answer.ok ? await answer.json() : null });
}

document.addEventListener("keydown", (event) => onKey(event, app, acts, {
  back: () => {
    const { session } = app;
    if (session?.state === "ready" && session.stage === "mount") {
      const done = session.drum?.first_pass.filter((r) => session.marks.includes(`pass-${r}`)) ?? [];
      if (done.length) acts.send({ kind: "mark", item: `pass-${done[done.length - 1]}`, done: false });
    } else if (["listening", "sorting", "turning"].includes(session?.state ?? "")) acts.send({ kind: "take_back" });
  },
  on: () => {
    const round = app.session?.round;
    if (app.session?.state === "listening" && round) {
      const here = round.order.indexOf(round.next_rod ?? 1);
      acts.send({ kind: "go_to", rod: round.order[(here + 1) % round.order.length] });
    } else acts.primary();
  },
  aloud,
}));
document.addEventListener("pointerdown", () => { held = true; });
for (const name of ["pointerup", "pointercancel"]) {
  document.addEventListener(name, () => setTimeout(() => {
    held = false;
    if (drawing) draw();
  }));
}
document.addEventListener("dragover", (event) => event.preventDefault());
document.addEventListener("drop", (event) => {
  event.preventDefault();
  const files = event.dataTransfer?.files;
  if (files?.length) acts.upload(files);
});
document.addEventListener("visibilitychange", () => {
  if (document.hidden) return;
  void keepAwake(["listening", "turning"].includes(app.session?.state ?? ""));
  void hearing.mic.wake();
});
narrow.addEventListener("change", () => change({}));

const tables = await fetch("/drums.json");
change({ tables: await tables.json() });
