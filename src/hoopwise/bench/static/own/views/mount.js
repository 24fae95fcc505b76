// Mounting a fresh head: a checklist and the planned passes in star order.
import { button, h, sheet } from "../dom.js";
import { drumPlan } from "../parts/drumplan.js";
import { hertz, howFar } from "../units.js";
import { cautions, keyHints } from "./common.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Act} Act */

const CHECKS = [
  ["edge-clean", "Bearing edge wiped clean; nothing sticks to it."],
  ["head-flat", "The head lies flat on the shell and does not rock."],
  ["hoop-centred", "The hoop sits centred, the same gap all around."],
  ["rods-finger", "Every rod is finger-tight: turned by hand until it stops, no key yet."],
];

/** The rod of the pass that is due. @param {App} app */
export function passRod(app) {
  const session = app.session;
  const order = session?.drum?.first_pass ?? [];
  return order.find((rod) => !session?.marks.includes(`pass-${rod}`)) ?? null;
}

/** Passes that are behind. @param {App} app */
function passed(app) {
  return app.session?.marks.filter((mark) => mark.startsWith("passed-")).length ?? 0;
}

/** How far every rod goes in a pass, in words. @param {App} app @param {number} pass */
function stepOf(app, pass) {
  const plan = app.session?.mounting;
  if (!plan) return app.session?.drum?.thin ? "1/8 turn" : "1/4 turn";
  return howFar(plan.passes[pass]?.turns ?? plan.fine_turns, app.prefs);
}

/** The passes with the most that each can bring. @param {App} app @param {number} now */
function passSheet(app, now) {
  const plan = app.session?.mounting;
  if (!plan) return null;
  const rows = plan.passes.map((one, i) => h("li", { class: i < now ? "done" : i === now ? "now" : "" },
    `${i < now ? "✓ " : ""}Pass ${i + 1}: ${stepOf(app, i)}, at most ${one.most_note_name} (${hertz(one.most_note_hz)})`));
  const fine = h("li", { class: now >= rows.length ? "now" : "" },
    `Then ${howFar(plan.fine_turns, app.prefs)} a pass, only while the note is not there`);
  return sheet("Passes", `stop at ${plan.seat_note_name} (${hertz(plan.seat_note_hz)})`,
    h("ul", { class: "checks" }, ...rows, fine), ...plan.sentences.map((line) => h("p", { class: "small" }, line)));
}

/** @param {App} app @param {Act} act */
export function mountView(app, act) {
  const session = app.session, drum = session?.drum;
  if (!session || !drum) return [];
  const now = passed(app), step = stepOf(app, now), plan = session.mounting;
  const next = passRod(app);
  /** @param {string} item @param {boolean} done */
  const mark = (item, done) => act.send({ kind: "mark", item, done });
  const checks = CHECKS.map(([item, words]) => check(item, words, session.marks.includes(item), mark));
  const pass = drum.first_pass.map((rod) => {
    const done = session.marks.includes(`pass-${rod}`);
    return h("li", { class: done ? "done" : rod === next ? "now" : "" },
      button(`pass-${rod}`, `${rod}`, () => mark(`pass-${rod}`, !done), { pressed: done, kind: "rodkey" }));
  });
  return [h("div", { class: "cue" },
    h("div", { class: "bignum", "aria-hidden": "true" }, next ?? "✓"),
    h("div", { class: "say", role: "status" },
      h("h1", { class: "lead" }, next ? `Tighten rod ${next} by ${step}` : `Pass ${now + 1} done`),
      h("p", {}, next ? "Star order: across, then across again, so that the hoop comes down level."
        : `Tap near a rod. ${plan ? `At ${plan.seat_note_name} (${hertz(plan.seat_note_hz)})` : "With a clear note"} go on to evening; below it, another pass of ${stepOf(app, now + 1)}.`)),
    drumPlan(drum, { next })),
  h("div", { class: "actions" },
    next ? button("pass", `Rod ${next} done`, () => mark(`pass-${next}`, true), { kind: "main", hint: "space" })
      : button("again", "Another pass", () => {
        mark(`passed-${now + 1}`, true);
        drum.first_pass.forEach((r) => mark(`pass-${r}`, false));
      }, {}),
    next ? null : button("even", "On to evening", () => act.send({ kind: "set_stage", stage: "even" }), { kind: "main" })),
  h("div", { class: "split" },
    sheet("Before the key", "tick what is right", h("ul", { class: "checks" }, ...checks)),
    sheet(`Pass ${now + 1}`, `each ${step}`, h("ol", { class: "pass" }, ...pass))),
  passSheet(app, now),
  cautions(`Pass by pass in small steps; on a thin head ${drum.thin ? "like this one " : ""}never more than a quarter turn at once.`,
    "If a rod feels hard, creaks or jumps, stop and look at thread and hoop."),
  keyHints("space → PgDn", "rod done", "← PgUp", "one back")];
}

/** @param {string} item @param {string} words @param {boolean} done @param {(i: string, d: boolean) => void} mark */
function check(item, words, done, mark) {
  return h("li", {}, h("label", {}, h("input", { type: "checkbox", checked: done, "data-key": item,
    onchange: () => mark(item, !done) }), h("span", {}, words)));
}
