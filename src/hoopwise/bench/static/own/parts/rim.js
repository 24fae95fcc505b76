// The rim strip: the hoop unrolled, tension up and down at each rod, the rod across tied below.
import { s } from "../dom.js";
import { tension, tensionUnit, tensionValue } from "../units.js";
/** @typedef {import("../types").Prefs} Prefs */
/** @typedef {import("../types").RodReading} RodReading */

export const EVEN_ENOUGH = 0.02;
const CONFIDENCE = 1.645;

/**
 * @typedef {object} RimData
 * @property {RodReading[]} rods
 * @property {number} noteHz
 * @property {number | null} [now] rod that is being worked on
 * @property {number[] | null} [expected] where the turns should bring each rod
 * @property {number[] | null} [second] the other answer that is still possible
 * @property {RodReading[] | null} [before] the reading before
 */

/** @param {RodReading} rod */
export function verdict(rod) {
  if (rod.deviation === null || Math.abs(rod.deviation) <= EVEN_ENOUGH) return "even";
  return rod.deviation < 0 ? "slack" : "tight";
}

/** Largest value that the axis must hold, as a fraction. @param {RimData} data */
function reach(data) {
  const ends = data.rods.map((r) => Math.abs(r.deviation ?? 0) + CONFIDENCE * (r.deviation_sd ?? 0));
  const rivals = (data.second ?? []).map(Math.abs);
  const most = Math.max(0.03, ...ends, ...rivals);
  return [0.04, 0.06, 0.08, 0.12, 0.16, 0.24, 0.4, 0.8].find((v) => v >= most) ?? most;
}

/** @param {RimData} data @param {Prefs} prefs @param {number} wide @returns {SVGElement} */
export function rimStrip(data, prefs, wide) {
  const count = data.rods.length;
  const narrow = wide < 500, top = 16, height = narrow ? 190 : 210;
  const left = narrow ? 40 : 58, right = wide - 8;
  const most = reach(data), middle = top + height / 2;
  const gap = (right - left) / count;
  /** @param {number} i */
  const x = (i) => left + gap * (i + 0.5);
  /** @param {number} v */
  const y = (v) => middle - (Math.max(-most, Math.min(most, v)) / most) * (height / 2);
  const foot = top + height + 24;
  return s("svg", {
    class: "rim", viewBox: `0 0 ${wide} ${foot + (narrow ? 40 : 50)}`, role: "img",
    "aria-label": spoken(data, prefs),
  },
  ...grid({ left, right, most, y }, prefs, data.noteHz),
  ...ties(count, x, foot, data.now ?? null, narrow),
  ...data.rods.flatMap((rod, i) => mark(rod, x(i), y, data, narrow)),
  ...data.rods.map((rod, i) => s("text", {
    x: x(i), y: foot - 4, class: `rodno ${rod.rod === data.now ? "now" : ""}`,
  }, rod.rod)));
}

/** @param {RimData} data @param {Prefs} prefs */
function spoken(data, prefs) {
  const each = data.rods.map((r) => r.deviation === null
    ? `rod ${r.rod} unknown` : `rod ${r.rod} ${tension(r.deviation, prefs, data.noteHz)}`);
  return `Tension at each rod against the mean: ${each.join(", ")}.`;
}

/**
 * @param {{left: number, right: number, most: number, y: (v: number) => number}} at
 * @param {Prefs} prefs @param {number} noteHz
 */
function grid(at, prefs, noteHz) {
  const lines = [-1, -0.5, 0, 0.5, 1].map((part) => {
    const value = part * at.most;
    const shown = tensionValue(value, prefs, noteHz);
    const text = `${shown > 0 ? "+" : shown < 0 ? "−" : ""}${Number(Math.abs(shown).toFixed(1))}`;
    return [
      s("line", { x1: at.left, x2: at.right, y1: at.y(value), y2: at.y(value),
        class: part ? "grid" : "zero" }),
      s("text", { x: at.left - 8, y: at.y(value) + 4, class: "tick end" },
        part === 1 ? `${text} ${tensionUnit(prefs) === "cents" ? "¢" : tensionUnit(prefs)}` : text),
    ];
  });
  const band = s("rect", { x: at.left, width: at.right - at.left, y: at.y(EVEN_ENOUGH),
    height: at.y(-EVEN_ENOUGH) - at.y(EVEN_ENOUGH), class: "band" });
  return [band, ...lines.flat()];
}

/**
 * @param {number} count @param {(i: number) => number} x @param {number} foot
 * @param {number | null} now @param {boolean} narrow
 */
function ties(count, x, foot, now, narrow) {
  if (count % 2) return [];
  const half = count / 2, deep = narrow ? 34 : 44;
  return Array.from({ length: half }, (_, i) => {
    const on = now === i + 1 || now === i + 1 + half;
    const a = x(i), b = x(i + half);
    return s("path", { class: on ? "tie on" : "tie",
      d: `M${a} ${foot + 2} C${a + 14} ${foot + deep} ${b - 14} ${foot + deep} ${b} ${foot + 2}` });
  });
}

/**
 * @param {RodReading} rod @param {number} x @param {(v: number) => number} y
 * @param {RimData} data @param {boolean} narrow
 */
function mark(rod, x, y, data, narrow) {
  if (rod.deviation === null) return [s("text", { x, y: y(0) + 5, class: "unknown" }, "?")];
  const kind = verdict(rod), at = y(rod.deviation), r = narrow ? 6 : 8;
  const sd = CONFIDENCE * (rod.deviation_sd ?? 0);
  const nodes = [
    s("line", { x1: x, x2: x, y1: y(0), y2: at, class: `stem ${kind}` }),
    s("path", { class: `err ${kind}`,
      d: `M${x} ${y(rod.deviation + sd)}V${y(rod.deviation - sd)}`
        + `M${x - 4} ${y(rod.deviation + sd)}h8M${x - 4} ${y(rod.deviation - sd)}h8` }),
    shape(kind, x, at, r),
  ];
  const i = rod.rod - 1;
  const was = data.before?.[i]?.deviation;
  if (was !== undefined && was !== null) {
    nodes.push(s("line", { x1: x - r - 5, x2: x - r, y1: y(was), y2: y(was), class: "was" }));
  }
  const goal = data.expected?.[i];
  if (goal !== undefined && Math.abs(goal - rod.deviation) > 0.004) {
    nodes.push(s("path", { class: "goal", d: `M${x + r + 2} ${y(goal) - 4}l6 4l-6 4` }));
  }
  const rival = data.second?.[i];
  if (rival !== undefined) {
    const v = y(rival);
    nodes.push(s("path", { class: "rival", d: `M${x} ${v - 6}l6 6l-6 6l-6 -6z` }));
  }
  return nodes;
}

/** @param {string} kind @param {number} x @param {number} y @param {number} r */
export function shape(kind, x, y, r) {
  if (kind === "even") return s("circle", { cx: x, cy: y, r: r * 0.75, class: "mark even" });
  const tip = kind === "tight" ? -r : r;
  return s("path", { class: `mark ${kind}`,
    d: `M${x - r} ${y - tip * 0.55}L${x} ${y + tip}L${x + r} ${y - tip * 0.55}Z` });
}
