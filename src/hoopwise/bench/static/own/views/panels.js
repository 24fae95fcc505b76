// Side panels: keys, units, phone.
import { button, h, sheet } from "../dom.js";
import { choice } from "./setup.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Act} Act */

const KEYS = [
  ["space", "what the main button says; while listening to a drum: take back the last tap"],
  ["← PgUp Backspace", "take back, one back"], ["→ PgDn", "next place, turned"],
  ["Enter", "the main button"], ["L", "listen, listen again"], ["R", "read the cue aloud"],
  ["U", "units and sound"], ["?", "this list"], ["Esc", "close"],
];

/** @param {App} app @param {Act} act @returns {HTMLElement | null} */
export function panel(app, act) {
  if (app.panel === "none") return null;
  const inside = { help: () => help(), units: () => units(app, act), phone: () => phone(app) }[app.panel]();
  return h("div", { class: "panel", role: "dialog", "aria-label": inside.getAttribute("aria-label") },
    inside, h("div", { class: "actions" }, button("close", "Close", () => act.change({ panel: "none" }), { hint: "Esc" })));
}

function help() {
  return sheet("Keys", "a foot switch that sends one of these works too",
    h("dl", { class: "keys" }, ...KEYS.map(([keys, words]) => h("div", {},
      h("dt", {}, ...keys.split(" ").map((k) => h("kbd", {}, k))), h("dd", {}, words)))),
    h("p", { class: "soft" }, "A round runs by itself: tap, wait for the beep, go to the rod that the large number shows. "
      + "Nothing has to be touched."),
    h("p", { class: "soft" }, "What the bench says about tension was checked on simulated drums, not yet on real drums with "
      + "rods of known tension. The ear's own pitches stand beside it so that you can compare."));
}

/** @param {App} app @param {Act} act */
function units(app, act) {
  const p = app.prefs;
  return sheet("Units and sound", null,
    choice("Tension", "u-tension", p.tension, [["percent", "percent"], ["cents", "cents"], ["hz", "Hz"]],
      (v) => act.prefer({ tension: /** @type {any} */ (v) })),
    choice("Turns", "u-turn", p.turn, [["fraction", "key fractions"], ["degrees", "degrees"]],
      (v) => act.prefer({ turn: /** @type {any} */ (v) })),
    choice("Lengths", "u-length", p.length, [["in", "inch"], ["mm", "mm"]], (v) => act.prefer({ length: /** @type {any} */ (v) })),
    choice("Light", "u-theme", p.theme, [["system", "as the system"], ["light", "light"], ["dark", "dark"]],
      (v) => act.prefer({ theme: /** @type {any} */ (v) })),
    choice("Beep after each tap", "u-beep", String(p.beep), [["true", "on"], ["false", "off"]], (v) => act.prefer({ beep: v === "true" })),
    choice("Speak the next rod", "u-speech", String(p.speech), [["true", "on"], ["false", "off"]], (v) => act.prefer({ speech: v === "true" })));
}

/** @param {App} app */
function phone(app) {
  if (!app.phone) {
    return sheet("Use a phone", null, h("p", {}, "Stop the bench and start it with: hoopwise bench --lan. "
      + "Then a code to scan appears here."));
  }
  const minutes = Math.max(1, Math.round(app.phone.seconds / 60));
  return sheet("Use a phone", `code works once, ${minutes} min left`,
    h("img", { class: "qr", src: `/phone.svg?${app.phone.address.slice(-8)}`, alt: "Code that opens the bench on a phone in the same network" }),
    h("ol", { class: "steps" },
      h("li", {}, "Phone and computer in the same network; scan the code."),
      h("li", {}, "The phone warns about the certificate, because this computer made it itself. Open its details and compare the fingerprint, then go on."),
      h("li", {}, "Allow the microphone.")),
    h("p", { class: "mono" }, app.phone.address), h("p", { class: "mono small" }, `SHA-256 ${app.phone.fingerprint}`));
}
