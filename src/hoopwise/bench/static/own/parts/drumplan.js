// The drum from above: rods, which are done, which is next, and where to tap.
import { s } from "../dom.js";
/** @typedef {import("../types").Drum} Drum */

/** Place of a rod on the unit circle, rod 1 at the bottom, clockwise. @param {number} rod @param {number} rods */
export function place(rod, rods) {
  const angle = (2 * Math.PI * (rod - 1)) / rods;
  return { x: -Math.sin(angle), y: Math.cos(angle) };
}

/**
 * @typedef {object} PlanOptions
 * @property {number | null} [next] rod that is due
 * @property {number[]} [counts] taps kept at each rod
 * @property {number[]} [wanted] taps wanted at each rod
 * @property {((rod: number) => void) | null} [onRod] what a click on a rod does
 * @property {string} [verb] what a click on a rod does, in words
 * @property {boolean} [tapPlace] show where the stick lands
 */

/** @param {Drum} drum @param {PlanOptions} options @returns {SVGElement} */
export function drumPlan(drum, options) {
  const rods = Array.from({ length: drum.rods }, (_, i) => i + 1);
  const clickable = Boolean(options.onRod);
  return s("svg", { class: "plan", viewBox: "-132 -132 264 264",
    role: clickable ? "group" : "img", "aria-label": label(drum, options) },
  s("circle", { r: 88, class: "hoop" }), s("circle", { r: 80, class: "skin" }),
  s("rect", { x: -13, y: 90, width: 26, height: 9, rx: 1, class: "mark1" }),
  s("text", { x: 0, y: -4, class: "plan-word" }, drum.mark === "strainer" ? "strainer" : "badge"),
  s("text", { x: 0, y: 12, class: "plan-word" }, "towards you ↓"),
  options.next && options.tapPlace ? tapPlace(options.next, drum.rods) : null,
  ...rods.map((rod) => lug(rod, drum, options)));
}

/** @param {Drum} drum @param {PlanOptions} options */
function label(drum, options) {
  const next = options.next ? ` Next is rod ${options.next}.` : "";
  return `The drum from above, ${drum.rods} rods numbered clockwise, rod 1 at the ${drum.mark}.${next}`;
}

/** @param {number} rod @param {number} rods */
function tapPlace(rod, rods) {
  const at = place(rod, rods);
  return s("g", { class: "tapplace" },
    s("line", { x1: 84 * at.x, y1: 84 * at.y, x2: 66 * at.x, y2: 66 * at.y }),
    s("circle", { cx: 62 * at.x, cy: 62 * at.y, r: 7 }));
}

/** @param {number} rod @param {Drum} drum @param {PlanOptions} options */
function lug(rod, drum, options) {
  const at = place(rod, drum.rods);
  const have = options.counts?.[rod - 1] ?? 0, want = options.wanted?.[rod - 1] ?? 0;
  const done = want > 0 && have >= want, next = rod === options.next;
  const x = 108 * at.x, y = 108 * at.y;
  const click = options.onRod;
  const state = next ? "next" : done ? "done" : have ? "part" : "";
  const words = `${options.verb ?? "Rod"} ${rod}${want ? `, ${have} of ${want} taps` : ""}`;
  return s("g", {
    class: `lug ${state}`, ...(click ? {
      role: "button", tabindex: 0, "aria-label": words, "data-key": `lug-${rod}`,
      onclick: () => click(rod),
      onkeydown: (/** @type {KeyboardEvent} */ e) => {
        if (e.key === "Enter" || e.key === " ") { e.preventDefault(); e.stopPropagation(); click(rod); }
      },
    } : {}),
  },
  s("circle", { cx: x, cy: y, r: next ? 19 : 15 }),
  s("text", { x, y: y + (next ? 7 : 5.5) }, rod),
  done && !next ? s("path", { class: "tickmark", d: `M${86 * at.x - 5} ${86 * at.y}l4 4l7 -8` }) : null);
}
