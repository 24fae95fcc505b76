// Pieces that several views share.
import { h, sheet } from "../dom.js";
import { headMap } from "../parts/headmap.js";
import { modeLadder } from "../parts/ladder.js";
import { rimStrip } from "../parts/rim.js";
import { tension } from "../units.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Reading} Reading */
/** @typedef {import("../parts/rim.js").RimData} RimData */

export const narrow = window.matchMedia("(max-width: 760px)");

/** @param {App} app @param {RimData} data @param {string | null} [note] @param {number} [wide] */
export function rimSheet(app, data, note, wide) {
  const legend = [
    ["tight", "▲ tight"], ["even", "● even enough"], ["slack", "▼ slack"],
  ].map(([kind, words]) => h("span", { class: `word ${kind}` }, words));
  const more = [
    data.expected ? h("span", {}, "› where the turns should bring it") : null,
    data.before ? h("span", {}, "– last round") : null,
    data.second ? h("span", {}, "◇ the other answer") : null,
  ];
  return sheet("Around the hoop", note ?? "tension against the mean, bars hold 90 %",
    rimStrip(data, app.prefs, narrow.matches ? 372 : wide ?? 800), h("p", { class: "legend" }, ...legend, ...more));
}

/** @param {App} app @param {Reading} reading */
export function mapSheet(app, reading) {
  const step = reading.field[0]?.step ?? 0.02;
  return sheet("Over the head", `bands of ${tension(step, app.prefs, reading.note_hz).replace("+", "")}`,
    headMap(reading, app.prefs),
    h("p", { class: "soft small" }, "Mean tension inside, from the tension at the rods."));
}

/** @param {Reading} reading */
export function ladderSheet(reading) {
  return sheet("What rings", `${reading.modes.length} modes of this head`, modeLadder(reading, narrow.matches));
}

/** @param {...string} lines */
export function cautions(...lines) {
  return h("ul", { class: "cautions" }, ...lines.map((line) => h("li", {}, line)));
}

/** Safety lines that belong to turning this head. @param {App} app */
export function turnCautions(app) {
  const thin = app.session?.drum?.thin;
  return cautions(
    thin ? "Thin head: a quarter turn at a time at most, the rod across next." : "Turn slowly, the rod across next.",
    "If a rod feels hard, creaks or jumps, stop: back off a quarter turn and look at thread and hoop.");
}

/** @param {string[]} pairs key, what it does, … */
export function keyHints(...pairs) {
  const hints = [];
  for (let i = 0; i < pairs.length; i += 2) {
    hints.push(h("span", {}, ...pairs[i].split(" ").map((k) => h("kbd", {}, k)), ` ${pairs[i + 1]}`));
  }
  return h("p", { class: "hints" }, ...hints);
}
