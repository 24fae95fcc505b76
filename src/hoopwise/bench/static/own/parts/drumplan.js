// The drum from above: rods, which are done, which is next, and where to tap.
import { s } from "../dom.js";
import { atRod, placesOf, placeWords } from "../places.js";
/** @typedef {import("../types").Drum} Drum */

/** A tap's place on the unit circle, rod 1 at the bottom, clockwise. @param {number} where @param {number} rods */
export function place(where, rods) {
  const angle = (2 * Math.PI * (where - 1)) / rods;
  return { x: -Math.sin(angle), y: Math.cos(angle) };
}

/**
 * @typedef {object} PlanOptions
 * @property {number | null} [next] place that is due
 * @property {number[]} [places] where taps are made; the rods where nothing is said
 * @property {number[]} [counts] taps kept at each place
 * @property {number[]} [wanted] taps wanted at each place
 * @property {((place: number) => void) | null} [onPlace] what a click on a place does
 * @property {string} [verb] what a click on a place does, in words
 * @property {boolean} [tapPlace] show where the stick lands
 */

/** @param {Drum} drum @param {PlanOptions} options @returns {SVGElement} */
export function drumPlan(drum, options) {
  const places = options.places ?? placesOf(drum.rods, false);
  const clickable = Boolean(options.onPlace);
  return s("svg", { class: "plan", viewBox: "-132 -132 264 264",
    role: clickable ? "group" : "img", "aria-label": label(drum, options) },
  s("circle", { r: 88, class: "hoop" }), s("circle", { r: 80, class: "skin" }),
  s("rect", { x: -13, y: 90, width: 26, height: 9, rx: 1, class: "mark1" }),
  s("text", { x: 0, y: -4, class: "plan-word" }, drum.mark === "strainer" ? "strainer" : "badge"),
  s("text", { x: 0, y: 12, class: "plan-word" }, "towards you ↓"),
  options.next && options.tapPlace ? tapPlace(options.next, drum.rods) : null,
  ...places.map((_, i) => mark(i, places, drum, options)));
}

/** @param {Drum} drum @param {PlanOptions} options */
function label(drum, options) {
  const next = options.next ? ` Next is ${placeWords(options.next, drum.rods)}.` : "";
  return `The drum from above, ${drum.rods} rods numbered clockwise, rod 1 at the ${drum.mark}.${next}`;
}

/** @param {number} where @param {number} rods */
function tapPlace(where, rods) {
  const at = place(where, rods);
  return s("g", { class: "tapplace" },
    s("line", { x1: 84 * at.x, y1: 84 * at.y, x2: 66 * at.x, y2: 66 * at.y }),
    s("circle", { cx: 62 * at.x, cy: 62 * at.y, r: 7 }));
}

/** A rod, or a smaller mark halfway to the next. @param {number} i @param {number[]} places @param {Drum} drum @param {PlanOptions} options */
function mark(i, places, drum, options) {
  const where = places[i], at = place(where, drum.rods), rod = atRod(where);
  const have = options.counts?.[i] ?? 0, want = options.wanted?.[i] ?? 0;
  const done = want > 0 && have >= want, next = where === options.next;
  const x = 108 * at.x, y = 108 * at.y;
  const click = options.onPlace;
  const state = next ? "next" : done ? "done" : have ? "part" : "";
  const words = `${options.verb} ${placeWords(where, drum.rods)}${want ? `, ${have} of ${want} taps` : ""}`;
  const r = rod ? 15 : 7;
  return s("g", {
    class: `lug ${state}`, ...(click ? {
      role: "button", tabindex: 0, "aria-label": words, "data-key": `lug-${where}`,
      onclick: () => click(where),
      onkeydown: (/** @type {KeyboardEvent} */ e) => {
        if (e.key === "Enter" || e.key === " ") { e.preventDefault(); e.stopPropagation(); click(where); }
      },
    } : {}),
  },
  click ? s("path", { class: "reach", d: sector(where, 1 / places.length, drum.rods) }) : null,
  s("circle", { cx: x, cy: y, r: next ? r + 4 : r }),
  rod ? s("text", { x, y: y + (next ? 7 : 5.5) }, where) : null,
  done && !next ? s("path", { class: "tickmark", d: `M${86 * at.x - 5} ${86 * at.y}l4 4l7 -8` }) : null);
}

/** All that is nearer to this place than to the next: where a finger reaches it. @param {number} where @param {number} share @param {number} rods */
function sector(where, share, rods) {
  const half = (share * rods) / 2;
  const [a, b] = [place(where - half, rods), place(where + half, rods)];
  const [near, far] = [60, 132];
  return `M${near * a.x} ${near * a.y}L${far * a.x} ${far * a.y}A${far} ${far} 0 0 1 ${far * b.x} ${far * b.y}`
    + `L${near * b.x} ${near * b.y}A${near} ${near} 0 0 0 ${near * a.x} ${near * a.y}Z`;
}
