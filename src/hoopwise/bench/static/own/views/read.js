// The reading is on the table: what is off, how sure, what to turn.
import { button, h, sheet } from "../dom.js";
import { earBesideFit, headFacts, trust } from "../parts/facts.js";
import { EVEN_ENOUGH } from "../parts/rim.js";
import { turnList, direction } from "../parts/turnlist.js";
import { centsText, hertz, howFar, tension } from "../units.js";
import { cautions, keyHints, ladderSheet, mapSheet, rimSheet, turnCautions } from "./common.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Act} Act */
/** @typedef {import("../types").Reading} Reading */

/** The one sentence that sums the reading up. @param {App} app @param {Reading} reading */
function headline(app, reading) {
  const plan = app.session?.round?.plan;
  if (reading.tensions_refused) return "Pitches only: the sound was processed";
  if (reading.moved) return reading.moved.settled ? "The head has settled" : "The head still moves";
  if (reading.trust?.level === "none") return "The taps give no answer";
  if (reading.plan_refused) return "No turns can be advised";
  if (plan && !plan.order.length) {
    return reading.trust?.level === "high" ? "Even: nothing left to turn" : "Nothing certain is left to turn";
  }
  const off = reading.rods.filter((r) => Math.abs(r.deviation ?? 0) > EVEN_ENOUGH).length;
  if (!off) return "Nearly even";
  return `${off === 1 ? "One rod is" : `${off} rods are`} off`;
}

/** @param {Reading} reading @param {App} app */
function summary(reading, app) {
  const low = `Low note ${reading.note_name}, ${hertz(reading.note_hz)}.`;
  if (reading.rms === null) return low;
  return `${low} Uneven by ${tension(reading.rms, app.prefs, reading.note_hz).replace("+", "")} over all rods.`;
}

/** What the main button does here. @param {App} app @returns {"trial" | "retap" | "turn" | "again"} */
export function readChoice(app) {
  const round = app.session?.round;
  if (round?.reading?.ask?.kind === "trial turn") return "trial";
  if (round?.reading?.ask?.kind === "tap" && round.reading.trust?.level !== "high") return "retap";
  return round?.plan?.order.length && !round.reading?.moved ? "turn" : "again";
}

/** @param {App} app @param {Act} act */
export function readView(app, act) {
  const session = app.session, round = session?.round, reading = round?.reading;
  if (!session || !round || !reading) return [];
  const rods = reading.rods.length;
  const steps = (round.plan?.order ?? []).map((rod) => ({ rod, turns: round.plan?.rods[rod - 1] ?? 0, made: null }));
  return [h("div", { class: "cue result" },
    h("div", { class: "say", role: "status" }, h("h1", { class: "lead", "data-test": "headline" }, headline(app, reading)),
      h("p", {}, summary(reading, app)), reading.plan_refused ? h("p", {}, reading.plan_refused) : null),
    h("div", { class: "actions" }, ...choices(app, act))),
  askSheet(reading, app, act),
  reading.moved ? movedSheet(app, reading) : null,
  reading.tensions_refused ? null : rimSheet(app, { rods: reading.rods, noteHz: reading.note_hz,
    expected: round.plan?.order.length && !reading.moved ? round.plan.expected : null,
    second: reading.second?.deviations ?? null, before: session.previous?.rods ?? null }),
  h("div", { class: "split" },
    h("div", { class: "stack" }, trust(reading), headFacts(reading, app.prefs)),
    steps.length && !reading.moved ? planSheet(app, steps, rods) : reading.field.length ? mapSheet(app, reading) : ladderSheet(reading)),
  steps.length && !reading.moved && reading.field.length
    ? h("div", { class: "split" }, mapSheet(app, reading), ladderSheet(reading))
    : reading.field.length ? ladderSheet(reading) : null,
  earBesideFit(reading, app.prefs), historySheet(app),
  steps.length && !reading.moved ? turnCautions(app) : cautions("Tap softly; close loud hits hurt the ears."),
  keyHints("space → PgDn", "go on", "L", "listen again")];
}

/** @param {App} app @param {Act} act */
function choices(app, act) {
  const round = app.session?.round, main = readChoice(app), reading = round?.reading;
  const words = { trial: "Make the trial turn", retap: `Tap rod ${reading?.ask?.rod} once more`,
    turn: "Start turning", again: "Listen again" };
  const others = [];
  if (main !== "turn" && round?.plan?.order.length && !reading?.moved) {
    others.push(button("turn", "Turn all the same", () => act.send({ kind: "begin_turning" }), {}));
  }
  if (main !== "again") others.push(button("again", "Listen again", act.listen, { hint: "L" }));
  return [button("go-on", words[main], act.primary, { kind: "main", hint: "space" }), ...others];
}

/** @param {Reading} reading @param {App} app @param {Act} act */
function askSheet(reading, app, act) {
  if (!reading.ask) return null;
  const ask = reading.ask;
  const words = ask.sentence || (ask.kind === "tap" ? `Tap rod ${ask.rod} once more.`
    : `${direction(ask.turns)} rod ${ask.rod} by ${howFar(ask.turns, app.prefs)}, then listen again.`);
  const what = { tap: "one more tap", "trial turn": "one small turn", "harder tip": "a harder tip", halfway: "taps halfway" }[ask.kind];
  const title = ask.kind === "trial turn" ? "What would decide it" : "What would tell more";
  return sheet(title, what, h("p", { class: "askline" }, words),
    ...(ask.kind === "halfway" || ask.or_halfway ? halfwayToo(app, act) : []));
}

/** Tapping halfway between the rods, switched on where it is asked for. @param {App} app @param {Act} act */
function halfwayToo(app, act) {
  const on = app.prefs.order === "halfway";
  return [h("div", { class: "actions" }, button("halfway", "Tap halfway too from now on",
    () => act.prefer({ order: on ? "around" : "halfway" }), { pressed: on })),
  h("p", { class: "soft", role: "status" }, on ? "The next round is tapped at each rod and halfway to the next." : "")];
}

/** @param {App} app @param {import("../types").Step[]} steps @param {number} rods */
function planSheet(app, steps, rods) {
  const plan = app.session?.round?.plan;
  const list = turnList(steps, rods, app.prefs, false);
  list.append(...(plan?.sentences ?? []).map((line) => h("p", { class: plan?.safety === "warn" ? "warn" : "soft" }, line)));
  return list;
}

/** What pressing the head did. @param {App} app @param {Reading} reading */
function movedSheet(app, reading) {
  const moved = reading.moved;
  if (!moved) return null;
  const rods = moved.rods.filter((r) => r.moved);
  return sheet("Against the round before", "beyond two standard deviations",
    h("p", {}, `The low note moved by ${centsText(moved.note_cents)} (± ${Math.round(1.645 * moved.note_sd_cents)}), the mean tension by ${(100 * moved.mean).toFixed(1).replace("-", "−")} %.`),
    h("p", {}, rods.length ? `Moved for certain: ${rods.map((r) => `rod ${r.rod} (${tension(r.change, app.prefs, reading.note_hz)})`).join(", ")}.`
      : "No rod moved by more than the readings' own error."),
    h("p", {}, moved.settled ? "Press no more. If rods are off, even them." : "Press once more and listen again, until nothing moves."));
}

/** @param {App} app */
function historySheet(app) {
  const history = app.session?.history ?? [];
  if (history.length < 2) return null;
  return sheet("Rounds so far", null, h("ol", { class: "history" }, ...history.map((r) => h("li", {},
    h("b", {}, `Round ${r.number}`),
    ` ${r.rms === null ? "pitches only" : `uneven by ${tension(r.rms, app.prefs, r.note_hz).replace("+", "")}`}, low note ${hertz(r.note_hz)}`))));
}
