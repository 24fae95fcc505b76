// The mode ladder: one rung for each mode, placed by frequency, as long as it rings.
import { s } from "../dom.js";
/** @typedef {import("../types").HeadMode} HeadMode */
/** @typedef {import("../types").Reading} Reading */

/** @param {Reading} reading @param {boolean} narrow @returns {SVGElement} */
export function modeLadder(reading, narrow) {
  const modes = [...reading.modes].sort((a, b) => a.frequency_hz - b.frequency_hz);
  const row = 26, left = 104, right = narrow ? 372 : 480;
  const longest = Math.max(0.2, ...modes.map((m) => m.t60_s ?? 0));
  const ring = edgeRing(reading);
  const rungs = [...modes].reverse().map((mode, i) => {
    const y = 14 + row * i;
    const kind = isLow(mode) ? "low" : mode.frequency_hz === ring ? "ring" : "";
    const length = mode.t60_s === null ? 0 : (mode.t60_s / longest) * (right - left - 124);
    const words = kind === "low" ? "low note" : kind === "ring" ? "edge ring" : "";
    return s("g", { class: `rung ${kind}` },
      s("text", { x: 62, y: y + 5, class: "hz end" }, mode.frequency_hz.toFixed(1)),
      shapeIcon(mode, 82, y),
      length ? s("rect", { x: left, y: y - 5, width: Math.max(3, length), height: 10 }) : null,
      s("text", { x: left + length + 8, y: y + 5, class: "tick" },
        [mode.t60_s === null ? "" : `${mode.t60_s.toFixed(2)} s`, words].filter(Boolean).join(" · ")));
  });
  const height = 14 + row * modes.length + 14;
  return s("svg", { class: "ladder", viewBox: `0 0 ${right} ${height}`, role: "img",
    "aria-label": spoken(modes, ring) }, ...rungs,
  s("text", { x: 62, y: height - 6, class: "tick end" }, "Hz"),
  s("text", { x: left, y: height - 6, class: "tick" },
    reading.tensions_refused ? "ring times are not told: the sound was processed" : "length: how long it rings"));
}

/** @param {HeadMode} mode */
function isLow(mode) {
  return mode.diameters === 0 && mode.circles === 1;
}

/** What an ear takes for the edge ring: the pitch heard most beside the rods. @param {Reading} reading */
function edgeRing(reading) {
  const heard = reading.rods.map((r) => r.heard_ring_hz).filter((v) => v !== null);
  if (!heard.length) return null;
  const mean = heard.reduce((a, b) => a + b, 0) / heard.length;
  const near = [...reading.modes].sort((a, b) =>
    Math.abs(a.frequency_hz - mean) - Math.abs(b.frequency_hz - mean))[0];
  return near && Math.abs(near.frequency_hz / mean - 1) < 0.06 ? near.frequency_hz : null;
}

/** Nodal lines of a mode on a small disc. @param {HeadMode} mode @param {number} x @param {number} y */
function shapeIcon(mode, x, y) {
  if (mode.diameters === null || mode.circles === null) {
    return s("text", { x, y: y + 5, class: "unknown" }, "?");
  }
  const lines = Array.from({ length: mode.diameters }, (_, i) => {
    const angle = (Math.PI * i) / (mode.diameters || 1) + 0.3;
    const dx = 9 * Math.cos(angle), dy = 9 * Math.sin(angle);
    return s("line", { x1: x - dx, y1: y - dy, x2: x + dx, y2: y + dy, class: "node" });
  });
  const circles = Array.from({ length: mode.circles - 1 }, (_, i) =>
    s("circle", { cx: x, cy: y, r: (9 * (i + 1)) / (mode.circles ?? 1), class: "node" }));
  return s("g", {}, s("circle", { cx: x, cy: y, r: 9, class: "disc" }), ...lines, ...circles);
}

/** @param {HeadMode[]} modes @param {number | null} ring */
function spoken(modes, ring) {
  const each = modes.map((m) => {
    const name = isLow(m) ? "low note " : m.frequency_hz === ring ? "edge ring " : "";
    return `${name}${m.frequency_hz.toFixed(1)} Hz${m.t60_s === null ? "" : ` rings ${m.t60_s.toFixed(2)} s`}`;
  });
  return `Modes of the head: ${each.join("; ")}.`;
}
