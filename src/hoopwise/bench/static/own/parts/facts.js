// Trust in words, what the ear hears beside the fit, and the head's own numbers.
import { h, s, sheet } from "../dom.js";
import { centsText, hertz, tension, tensionWords } from "../units.js";
import { verdict, shape } from "./rim.js";
/** @typedef {import("../types").Reading} Reading */
/** @typedef {import("../types").Prefs} Prefs */

const LEVELS = {
  high: { word: "Sure", mark: "●●●" }, low: { word: "Not sure", mark: "●○○" },
  none: { word: "No answer", mark: "○○○" },
};

/** @param {Reading} reading */
export function trust(reading) {
  if (reading.tensions_refused || !reading.trust) {
    return sheet("How sure", null,
      h("p", { class: "trustline none" }, "Tensions are not told"),
      h("p", {}, reading.tensions_refused ?? ""));
  }
  const { word, mark } = LEVELS[reading.trust.level];
  return sheet("How sure", null,
    h("p", { class: `trustline ${reading.trust.level}` },
      h("span", { "aria-hidden": "true" }, mark), ` ${word}`),
    ...reading.trust.sentences.map((line) => h("p", {}, line)),
    reading.second ? h("p", { class: "soft" },
      `Two answers remain. The open diamonds show the other one (${Math.round(100 * reading.second.odds)} % likely).`) : null,
    ...reading.advice.map((line) => h("p", { class: "soft" }, line)));
}

/** @param {Reading} reading @param {Prefs} prefs */
export function headFacts(reading, prefs) {
  const beats = reading.beats_hz.length
    ? `${reading.beats_hz.map((b) => b.toFixed(1)).join(", ")} Hz` : null;
  const mean = reading.mean_tension_n_m;
  return sheet("This head", null, h("dl", { class: "facts" },
    fact("Low note", reading.note_name, hertz(reading.note_hz)),
    reading.note_ring_s !== null ? fact("Rings", `${reading.note_ring_s.toFixed(2)} s`, "to a thousandth") : null,
    mean !== null ? fact("Mean tension", `${Math.round(mean)} N/m`,
      `± ${Math.round(1.645 * (reading.mean_tension_sd_n_m ?? 0))}`) : null,
    reading.rms !== null ? fact("Uneven by", tension(reading.rms, prefs, reading.note_hz).replace("+", ""), "rms over the rods") : null,
    beats ? fact("Beats", beats, "what you can hear waver") : null,
    reading.rival_hz ? fact("Or is it", hertz(reading.rival_hz), "nearly as loud as the low note") : null,
    reading.contact_ms ? fact("Tip stays", `${reading.contact_ms.toFixed(1)} ms`, "on the head") : null));
}

/** @param {string} name @param {string} value @param {string} note */
function fact(name, value, note) {
  return h("div", {}, h("dt", {}, name), h("dd", {}, h("b", {}, value), h("small", {}, note)));
}

/** @param {Reading} reading @param {Prefs} prefs */
export function earBesideFit(reading, prefs) {
  const rows = reading.rods.map((rod) => {
    const kind = verdict(rod);
    return h("tr", {},
      h("th", { scope: "row" }, rod.rod),
      h("td", {}, rod.deviation === null ? "–" : h("span", { class: `word ${kind}` },
        s("svg", { viewBox: "-10 -10 20 20", class: "glyph", "aria-hidden": "true" }, shape(kind, 0, 0, 8)),
        tensionWords(rod.deviation, prefs, reading.note_hz))),
      h("td", {}, rod.heard_low_hz === null ? "not heard"
        : `${hertz(rod.heard_low_hz)}${rod.heard_low_cents === null ? "" : `, ${centsText(rod.heard_low_cents)}`}`),
      h("td", {}, rod.heard_ring_hz === null ? "–" : hertz(rod.heard_ring_hz)));
  });
  return sheet("The ear beside the fit", null,
    h("p", { class: "soft" }, "Rods across from each other sound nearly alike whatever their "
      + "tension: the low pitch beside a rod belongs to the whole head. The fit uses how loudly "
      + "every mode answers at every rod."),
    h("div", { class: "scroller", tabindex: 0, role: "region", "aria-label": "The ear beside the fit, table" },
      h("table", {},
        h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "Rod"), h("th", { scope: "col" }, "Fit says"),
          h("th", { scope: "col" }, "Ear hears, low"), h("th", { scope: "col" }, "Edge ring"))),
        h("tbody", {}, ...rows))));
}
