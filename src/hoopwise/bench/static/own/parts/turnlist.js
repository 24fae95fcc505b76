// The turn list: rod, key, direction and how far, in working order.
import { h, sheet } from "../dom.js";
import { howFar, howFarElse } from "../units.js";
import { keyDial } from "./dial.js";
/** @typedef {import("../types").Step} Step */
/** @typedef {import("../types").Prefs} Prefs */

/** @param {number} turns */
export function direction(turns) {
  return turns < 0 ? "Loosen" : "Tighten";
}

/** @param {number} a @param {number} b @param {number} rods */
function across(a, b, rods) {
  return rods % 2 === 0 && (a - b + rods) % rods === rods / 2;
}

/** @param {Step[]} steps @param {number} rods @param {Prefs} prefs @param {boolean} working */
export function turnList(steps, rods, prefs, working) {
  const due = steps.findIndex((step) => step.made === null);
  const done = steps.filter((step) => step.made !== null).length;
  const rows = steps.map((step, i) => {
    const now = working && i === due;
    const state = step.made === null ? (now ? "now" : "") : step.made ? "done" : "skipped";
    const tie = i > 0 && across(step.rod, steps[i - 1].rod, rods) ? ` · across from ${steps[i - 1].rod}` : "";
    return h("li", { class: state, "aria-current": now ? "step" : null },
      h("span", { class: "rod" }, step.rod), keyDial(step.turns),
      h("span", { class: "what" }, h("b", {}, `${direction(step.turns)} ${howFar(step.turns, prefs)}`),
        h("small", {}, `${howFarElse(step.turns, prefs)} ${step.turns < 0 ? "anticlockwise" : "clockwise"}${tie}`)),
      h("span", { class: "state" }, step.made === null ? "" : step.made ? "✓ turned" : "left out"));
  });
  return sheet(working ? "Turn list" : "What to turn", working ? `${done} of ${steps.length}` : `${steps.length} turns`,
    h("ol", { class: "turns" }, ...rows));
}
