// A round is running: the next place is the largest thing on the page.
import { button, h, sheet } from "../dom.js";
import { drumPlan } from "../parts/drumplan.js";
import { atRod, goesHalfway, neighbours, placeCue, placeSign, placeWords, tally } from "../places.js";
import { cautions, keyHints, rimSheet } from "./common.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Act} Act */

/** @param {App} app @param {Act} act @param {HTMLElement} live */
export function listenView(app, act, live) {
  const session = app.session, round = session?.round, drum = session?.drum;
  if (!session || !round || !drum) return [];
  const next = round.next_rod ?? 1, practice = round.source === "practice";
  const { have, want } = tally(round, next), words = placeWords(next, drum.rods);
  const verb = practice ? "Tap" : "Go to";
  /** @param {number} rod */
  const onPlace = (rod) => act.send(practice ? { kind: "practice_tap", rod } : { kind: "go_to", rod });
  const heard = practice || app.ear.state === "open";
  return [h("div", { class: "cue listen" },
    bigSign(next, drum.rods),
    h("div", { class: "say" },
      h("h1", { class: "lead", "data-test": "cue" }, `Tap ${words}${have ? " again, same place" : ""}`),
      h("p", {}, `${want > 1 || have ? `${ordinal(have + 1)} of ${Math.max(want, have + 1)}` : "One tap"}. A thumb's width in from the hoop, ${atRod(next) ? "in line with the rod" : "midway between the two rods"}.`),
      verdictLine(app)),
    drumPlan(drum, { next, places: round.places, counts: round.counts, wanted: round.wanted, tapPlace: true, verb, onPlace })),
  h("div", { class: "actions" },
    practice ? button("tap", `Tap ${words}`, act.primary, { kind: "main", hint: "space" }) : null,
    !heard ? button("reopen", "Go on listening", act.listen, { kind: "main", hint: "Enter" }) : null,
    button("undo", "Take back", () => act.send({ kind: "take_back" }),
      { disabled: !round.taps.length, hint: practice ? "←" : "space" }),
    button("finish", "Read what is there", () => act.send({ kind: "finish_round" }), { disabled: !round.taps.length }),
    button("stop", "Stop this round", () => act.send({ kind: "drop_round" }), {})),
  h("div", { class: "split" },
    progress(round, drum.rods, verb, onPlace),
    practice ? practiceNote(goesHalfway(round)) : liveSheet(app, live)),
  session.previous && session.previous.rods[0].deviation !== null
    ? rimSheet(app, { rods: session.previous.rods, noteHz: session.previous.note_hz, now: next,
      expected: session.previous.expected }, "last round, and where the turns should bring it") : null,
  cautions("Tap softly; close loud hits hurt the ears."),
  practice ? keyHints("space", "tap", "← PgUp", "take back")
    : keyHints("space ← PgUp", "take back", "→ PgDn", "next place")];
}

/** The place as large as can be; two numbers side by side where it is between two rods. @param {number} next @param {number} rods */
function bigSign(next, rods) {
  const between = !atRod(next);
  return h("div", { class: between ? "bignum between" : "bignum", "aria-hidden": "true" },
    between ? neighbours(next, rods).map((rod) => h("span", {}, rod)) : next);
}

/** @param {number} n */
function ordinal(n) {
  return ["First", "Second", "Third", "Fourth"][n - 1] ?? `Tap ${n}`;
}

/** @param {App} app */
function verdictLine(app) {
  const tap = app.lastTap;
  if (!tap) return h("p", { class: "verdict", role: "status" }, "Waiting for the first tap.");
  if (tap.good) {
    const where = placeCue(tap.rod ?? 1, app.session?.drum?.rods ?? 0);
    return h("p", { class: "verdict good", role: "status", "data-test": "verdict" },
      h("span", { "aria-hidden": "true" }, "✓ "),
      `${where}: good, ${Math.round(tap.snr_db)} dB over the room.`);
  }
  return h("p", { class: "verdict bad", role: "status", "data-test": "verdict" },
    h("span", { "aria-hidden": "true" }, "✕ "), h("b", {}, "Not counted. "), tap.sentence);
}

/**
 * Every place with its taps, to see at a glance and large enough for a finger.
 * @param {import("../types").Round} round @param {number} rods @param {string} verb @param {(place: number) => void} onPlace
 */
function progress(round, rods, verb, onPlace) {
  const wanted = round.wanted.reduce((a, b) => a + b, 0);
  const beads = round.order.map((place) => {
    const { have, want } = tally(round, place);
    return h("li", { class: place === round.next_rod ? "now" : have >= want ? "done" : "" },
      h("button", { type: "button", "data-key": `bead-${place}`, onclick: () => onPlace(place),
        "aria-label": `${placeSign(place, rods)}: ${have} of ${want} taps. ${verb} ${placeWords(place, rods)}` },
      h("b", {}, placeSign(place, rods)), h("span", {}, "●".repeat(have) + "○".repeat(Math.max(0, want - have)))));
  });
  return sheet(`Round ${round.number}`, `${round.taps.length} of ${wanted} taps`, h("ol", { class: "beads" }, ...beads));
}

/** @param {boolean} halfway */
function practiceNote(halfway) {
  return sheet("Practice drum", "simulated",
    h("p", {}, `This drum exists only as numbers. Tap it with the space bar or by clicking its rods${halfway ? " and the marks between them" : ""}; it answers with sound, `
      + "and what the bench hears is that sound."));
}

/** @param {App} app @param {HTMLElement} live */
function liveSheet(app, live) {
  const words = { raw: "unprocessed", on: "PROCESSED by the browser", unknown: "processing unknown" }[app.ear.processing];
  const note = app.ear.state === "open" ? `${words}, ${(app.ear.rate / 1000).toFixed(1)} kHz` : "closed";
  return sheet("Microphone", note, live,
    app.ear.state === "open" && app.ear.processing !== "raw" ? h("p", { class: "soft" },
      "Ring times and tensions cannot be told from processed sound; pitches can.") : null,
    app.lostFrames ? h("p", { class: "soft" }, `${Math.round(1000 * app.lostFrames / (app.ear.rate || 48000))} ms of sound were lost so far.`) : null);
}

/** Taps are being worked out. @param {App} app */
export function readingView(app) {
  const taps = app.session?.round?.taps.length ?? 0;
  return [h("div", { class: "cue" }, h("div", { class: "say", role: "status" },
    h("h1", { class: "lead" }, "Working out the round"),
    h("p", {}, `${taps} taps together: which modes ring, how loudly each answers at every rod, and what tension explains that. A few seconds.`),
    h("div", { class: "working", "aria-hidden": "true" }, h("i"), h("i"), h("i"))))];
}
