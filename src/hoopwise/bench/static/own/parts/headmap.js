// The head from above with its tension as bands, darker and hatched the farther from the mean.
import { s } from "../dom.js";
import { place } from "./drumplan.js";
import { tension } from "../units.js";
/** @typedef {import("../types").Reading} Reading */
/** @typedef {import("../types").Prefs} Prefs */

const R = 92;

/** @param {Reading} reading @param {Prefs} prefs @returns {SVGElement} */
export function headMap(reading, prefs) {
  const rods = reading.rods.length;
  const step = reading.field[0]?.step ?? 0.02;
  return s("svg", { class: "map", viewBox: "-122 -122 244 244", role: "img",
    "aria-label": `Tension over the head in bands of ${tension(step, prefs, reading.note_hz)}; `
      + extremes(reading) },
  ...reading.field.map((band) => s("path", {
    class: `fieldband ${band.level < 0 ? "slack" : band.level > 0 ? "tight" : "even"}`,
    "data-depth": Math.min(5, Math.abs(band.level)), d: outline(band.shapes),
    "fill-rule": "evenodd",
  })),
  s("circle", { r: R, class: "hoop" }),
  ...reading.rods.map((rod) => {
    const at = place(rod.rod, rods);
    return s("text", { x: 108 * at.x, y: 108 * at.y + 5, class: "rodno" }, rod.rod);
  }), ...signs(reading));
}

/** @param {[number, number][][][]} shapes */
function outline(shapes) {
  return shapes.flat().map((ring) =>
    `M${ring.map(([x, y]) => `${(R * x).toFixed(1)} ${(R * y).toFixed(1)}`).join("L")}Z`).join("");
}

/** Plus and minus at the tightest and slackest rods: never colour alone. @param {Reading} reading */
function signs(reading) {
  return reading.rods.filter((r) => Math.abs(r.deviation ?? 0) > 0.02).map((rod) => {
    const at = place(rod.rod, reading.rods.length);
    return s("text", { x: 74 * at.x, y: 74 * at.y + 6, class: "sign" },
      (rod.deviation ?? 0) < 0 ? "−" : "+");
  });
}

/** @param {Reading} reading */
function extremes(reading) {
  const sorted = [...reading.rods].sort((a, b) => (a.deviation ?? 0) - (b.deviation ?? 0));
  return `slackest at rod ${sorted[0].rod}, tightest at rod ${sorted[sorted.length - 1].rod}.`;
}
