// Turning: the turn that is due is the largest thing on the page.
import { button, h } from "../dom.js";
import { keyDial } from "../parts/dial.js";
import { drumPlan } from "../parts/drumplan.js";
import { direction, turnList } from "../parts/turnlist.js";
import { hertz, howFar, howFarElse, tensionWords } from "../units.js";
import { keyHints, rimSheet, turnCautions } from "./common.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Act} Act */
/** @typedef {import("../types").Step} Step */

/** The turn in words, for the page and the voice. @param {Step} step @param {App} app */
export function turnWords(step, app) {
  return `Rod ${step.rod}: ${direction(step.turns).toLowerCase()} ${howFar(step.turns, app.prefs)}`;
}

/** @param {App} app @param {Step} step */
function brings(app, step) {
  const round = app.session?.round, reading = round?.reading, plan = round?.plan;
  if (app.session?.trial) return "A trial: what it does to the sound tells the two answers apart.";
  const now = reading?.rods[step.rod - 1]?.deviation, then = plan?.expected[step.rod - 1];
  if (!reading || !plan || now === null || now === undefined || then === undefined) return "";
  const all = `All turns together should bring rod ${step.rod} from ${tensionWords(now, app.prefs, reading.note_hz)} to ${tensionWords(then, app.prefs, reading.note_hz)}`;
  const cents = 1200 * Math.log2(plan.expected_note_hz / reading.note_hz);
  return `${all}; the low note ${Math.abs(cents) < 3 ? "stays" : `goes to ${hertz(plan.expected_note_hz)}`}.`;
}

/** @param {App} app @param {Act} act */
export function turnView(app, act) {
  const session = app.session, drum = session?.drum, round = session?.round;
  if (!session || !drum || !round?.reading) return [];
  const due = session.steps.find((step) => step.made === null);
  const made = session.steps.some((step) => step.made !== null);
  const at = due ? session.steps.indexOf(due) : session.steps.length;
  const after = session.steps[at + 1];
  const cue = due ? [
    h("div", { class: "bignum", "aria-hidden": "true" }, due.rod), keyDial(due.turns),
    h("div", { class: "say", role: "status" },
      h("h1", { class: "lead", "data-test": "turn" }, `${direction(due.turns)} rod ${due.rod} by ${howFar(due.turns, app.prefs)}`),
      h("p", {}, `${howFarElse(due.turns, app.prefs)}, ${due.turns < 0 ? "anticlockwise" : "clockwise"} seen from above.${after ? ` Then rod ${after.rod}.` : " The last one."}`),
      h("p", { class: "soft" }, brings(app, due)))]
    : [h("div", { class: "bignum", "aria-hidden": "true" }, "✓"),
      h("div", { class: "say", role: "status" }, h("h1", { class: "lead" }, "All turned"),
        h("p", {}, "Listen again: the bench sees what the turns really did."))];
  return [h("div", { class: "cue turn" }, ...cue, drumPlan(drum, { next: due?.rod ?? null })),
    h("div", { class: "actions" },
      due ? button("done", "Turned", act.primary, { kind: "main", hint: "space" })
        : button("done", "Listen again", act.primary, { kind: "main", hint: "space" }),
      button("back", "One back", () => act.send({ kind: "take_back" }), { disabled: !made, hint: "←" }),
      due ? button("skip", "Leave this one out", () => act.send({ kind: "turn_done", made: false }), {}) : null,
      due ? button("enough", "Enough, listen now", () => act.send({ kind: "finish_turning" }), {}) : null),
    h("div", { class: "split wide-right" },
      rimSheet(app, { rods: round.reading.rods, noteHz: round.reading.note_hz, now: due?.rod ?? null,
        expected: round.plan?.expected ?? null }, null, 540),
      turnList(session.steps, drum.rods, app.prefs, true)),
    turnCautions(app),
    keyHints("space → PgDn", "turned", "← PgUp", "one back", "R", "read aloud")];
}
