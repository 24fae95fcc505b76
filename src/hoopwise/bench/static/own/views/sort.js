// Recordings: every tap that was found, given to its place by clicking.
import { button, h, sheet } from "../dom.js";
import { drumPlan } from "../parts/drumplan.js";
import { goesHalfway, placeWords } from "../places.js";
import { choice } from "./setup.js";
import { keyHints } from "./common.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Act} Act */

/** @param {App} app @param {Act} act */
export function sortView(app, act) {
  const session = app.session, round = session?.round, drum = session?.drum;
  if (!session || !round || !drum) return [];
  const place = goesHalfway(round) ? "place" : "rod";
  const picked = round.taps.find((t) => t.take === app.picked) ?? null;
  /** @param {number} rod */
  const give = (rod) => {
    if (!picked) return;
    act.send({ kind: "assign", take: picked.take, rod });
    const at = round.taps.indexOf(picked);
    act.change({ picked: round.taps[at + 1]?.take ?? null });
  };
  const taps = round.taps.map((tap, i) => h("li", {},
    button(`tap-${tap.take}`, `${i + 1}`, () => act.change({ picked: tap.take }), { pressed: tap === picked, kind: "rodkey" }),
    h("span", { class: "what" }, h("b", {}, tap.rod ? placeWords(tap.rod, drum.rods) : `no ${place}`),
      h("small", {}, `${tap.name}, ${Math.round(tap.strength_db)} dB`.replace("-", "−"))),
    button(`play-${tap.take}`, "Hear", () => act.play(tap.take), {}),
    button(`drop-${tap.take}`, "Leave out", () => act.send({ kind: "assign", take: tap.take, rod: null }), { disabled: !tap.rod })));
  return [h("div", { class: "cue start" },
    h("div", { class: "say" },
      h("h1", { class: "lead" }, round.taps.length ? (picked ? `Tap ${round.taps.indexOf(picked) + 1}: at which ${place}?` : `Which tap was at which ${place}?`) : "Drop recordings here"),
      h("p", {}, round.taps.length
        ? `Taps were given to the ${place}s in order. To change one, choose the tap, then click its ${place} on the drum.`
        : `WAV, FLAC, MP3, or what your phone records. One recording of the whole round will do, or one for each ${place}.`),
      h("div", { class: "actions" },
        button("read", "Read these taps", () => act.send({ kind: "finish_round" }),
          { kind: "main", disabled: !round.taps.some((t) => t.rod), hint: "Enter" }),
        fileButton(act),
        button("stop", "Stop", () => act.send({ kind: "drop_round" }), {}))),
    drumPlan(drum, { next: picked?.rod ?? null, places: round.places, counts: round.counts, wanted: round.wanted, verb: "Give to",
      onPlace: picked ? give : null })),
  sheet("How were they recorded?", null,
    choice("The recorder", "declared", round.processing === "raw" ? "raw" : "unknown",
      [["unknown", "I do not know"], ["raw", "Left the sound alone: no noise, echo or level processing"]],
      (v) => act.send({ kind: "declare", processing: v })),
    h("p", { class: "soft" }, "Processed sound has wrong levels and ring times. If you do not know, the bench tells pitches but no tensions.")),
  round.taps.length ? sheet("Taps found", `${round.taps.length}`, h("ol", { class: "taps" }, ...taps)) : null,
  keyHints("Tab Enter", "choose", "Enter", "read")];
}

/** @param {Act} act */
function fileButton(act) {
  return h("span", {},
    h("input", { type: "file", multiple: true, id: "more", class: "visually-hidden", "data-key": "more",
      accept: "audio/*,.wav,.flac,.ogg,.mp3,.m4a,.aiff", onchange: (/** @type {Event} */ e) => {
        const files = /** @type {HTMLInputElement} */ (e.target).files;
        if (files) act.upload(files);
      } }),
    h("label", { for: "more", class: "button" }, "Choose recordings"));
}
