// A drum is on the bench and nothing runs: what to do now.
import { button, h, sheet } from "../dom.js";
import { drumPlan } from "../parts/drumplan.js";
import { placesOf } from "../places.js";
import { sideWords } from "../units.js";
import { choice } from "./setup.js";
import { cautions, keyHints } from "./common.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Act} Act */

/** What the next round is for, in words. @param {App} app */
function invitation(app) {
  const session = app.session, rounds = session?.history.length ?? 0;
  const turned = session?.round?.turned !== null && session?.round?.reading;
  if (session?.stage === "seat") {
    return rounds ? ["Press the centre, then listen again",
      "Lay the palm on the centre of the head and press firmly, twice, as far as it gives without effort. Then tap a round; the bench compares it with the last one."]
      : ["First even the head", "Seating compares two rounds. Tap one round now; then press and tap another."];
  }
  if (turned) return ["Turned. Listen again", "Tap a round; the bench sees what the turns did and learns how this head answers."];
  const where = app.prefs.order === "halfway" ? "beside every rod and halfway to the next" : "beside every rod";
  return ["Tap around the hoop", `Tap softly ${where}, a thumb's width in from the hoop. The bench hears which rod is off and says what to turn.`];
}

/** @param {App} app @param {Act} act */
export function readyView(app, act) {
  const session = app.session, drum = session?.drum;
  if (!session || !drum) return [];
  const [title, words] = invitation(app);
  const file = /** @type {HTMLInputElement} */ (h("input", { type: "file", multiple: true, "data-key": "files", class: "visually-hidden",
    accept: "audio/*,.wav,.flac,.ogg,.mp3,.m4a,.aiff", id: "files",
    onchange: (/** @type {Event} */ e) => {
      const files = /** @type {HTMLInputElement} */ (e.target).files;
      if (files) act.upload(files);
    } }));
  return [h("div", { class: "cue start" },
    h("div", { class: "say" }, h("h1", { class: "lead" }, title), h("p", {}, words),
      h("div", { class: "actions" },
        button("listen", session.practice ? "Start a practice round" : "Start listening", act.listen, { kind: "main", hint: "space" }),
        file, h("label", { for: "files", class: "button" }, "Use recordings"))),
    drumPlan(drum, { next: session.drum?.first_pass[0] ?? 1, places: placesOf(drum.rods, app.prefs.order === "halfway"), tapPlace: true })),
  h("div", { class: "split" }, placing(app), roundSheet(app, act)),
  cautions("Tap softly; close loud hits hurt the ears."),
  keyHints("space", "start", "?", "all keys")];
}

/** How the next round is tapped. @param {App} app @param {Act} act */
function roundSheet(app, act) {
  const { order, taps } = app.prefs, halfway = order === "halfway";
  return sheet("This round", null,
    choice("Go", "order", order, [["around", "Around the hoop"], ["star", "In star order"], ["halfway", "Around, halfway too"]],
      (v) => act.prefer({ order: /** @type {any} */ (v) })),
    // Halfway there are twice the places, so that each gets half of what a rod would.
    halfway ? choice("Taps at each place", "taps", taps < 4 ? "2" : "4", [["2", "1"], ["4", "2"]], (v) => act.prefer({ taps: Number(v) }))
      : choice("Taps at each rod", "taps", String(taps), [["1", "1"], ["2", "2"], ["3", "3"], ["4", "4"]],
        (v) => act.prefer({ taps: Number(v) })),
    h("p", { class: "soft" }, halfway
      ? "Half of the taps are made halfway to the next rod. They tell more than a second tap at the same place. One tap at each place is as many as two a rod."
      : "Two taps a rod are the usual; three when the trust is low."));
}

/** @param {App} app */
function placing(app) {
  const drum = app.session?.drum;
  if (!drum) return null;
  return sheet("Place drum and microphone", null, h("ol", { class: "steps" },
    h("li", {}, `${capital(sideWords(drum.side))} up, the ${drum.mark} towards you: there is rod 1. Numbers run clockwise.`),
    drum.two_heads && drum.other_head !== "off" ? h("li", {}, drum.other_head === "muted"
      ? "Muffle the other head with a cloth." : "Let the other head ring free; wires off.") : null,
    h("li", {}, "Microphone a hand's width above the head, near the edge, and leave it there for the whole round."),
    h("li", {}, "Tap with a stick's tip or a knuckle, always the same; lift off at once and wait for the beep.")));
}

/** @param {string} text */
function capital(text) {
  return text[0].toUpperCase() + text.slice(1);
}
