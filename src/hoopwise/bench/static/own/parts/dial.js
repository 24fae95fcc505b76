// The drum key as a clock hand: where it starts (twelve) and where it ends.
import { s } from "../dom.js";

/** Turned clockwise from twelve. @param {number} turns @param {number} r */
function tip(turns, r) {
  const angle = 2 * Math.PI * turns;
  return { x: r * Math.sin(angle), y: -r * Math.cos(angle) };
}

/** @param {number} turns + tightens, clockwise @returns {SVGElement} */
export function keyDial(turns) {
  const way = turns < 0 ? "slack" : "tight";
  const shown = Math.sign(turns) * Math.min(Math.abs(turns), 0.999);
  const end = tip(shown, 40), head = tip(shown, 39);
  const large = Math.abs(shown) > 0.5 ? 1 : 0, sweep = turns > 0 ? 1 : 0;
  const quarter = [0, 0.25, 0.5, 0.75].map((q) => {
    const a = tip(q, 48), b = tip(q, 54);
    return s("line", { x1: a.x, y1: a.y, x2: b.x, y2: b.y, class: "hour" });
  });
  const eighths = Array.from({ length: 16 }, (_, i) => i / 16).filter((q) => q % 0.25).map((q) => {
    const a = tip(q, 50), b = tip(q, 54);
    return s("line", { x1: a.x, y1: a.y, x2: b.x, y2: b.y, class: "minute" });
  });
  return s("svg", { class: "dial", viewBox: "-58 -58 116 116", "aria-hidden": "true" },
    s("circle", { r: 54, class: "face" }), ...quarter, ...eighths,
    s("path", { class: `sweep ${way}`,
      d: `M0 0L0 -40A40 40 0 ${large} ${sweep} ${end.x} ${end.y}Z` }),
    s("line", { x1: 0, y1: 0, x2: 0, y2: -46, class: "from" }),
    s("line", { x1: 0, y1: 0, x2: head.x, y2: head.y, class: "hand" }),
    s("path", { class: "arrow", d: arrow(shown) }),
    s("rect", { x: -6, y: -6, width: 12, height: 12, rx: 1.5, class: "socket" }));
}

/** A small head at the end of the way, pointing on. @param {number} turns */
function arrow(turns) {
  const on = tip(turns, 45);
  const angle = 360 * turns + (turns > 0 ? 0 : 180);
  const a = (angle * Math.PI) / 180;
  const along = { x: Math.cos(a), y: Math.sin(a) }, side = { x: -along.y, y: along.x };
  const p = [[6, 0], [-5, 6], [-5, -6]].map(([f, w]) =>
    `${on.x + f * along.x + w * side.x} ${on.y + f * along.y + w * side.y}`);
  return `M${p[0]}L${p[1]}L${p[2]}Z`;
}
