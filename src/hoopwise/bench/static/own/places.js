// Places of taps: a rod's number, and half more halfway to the next rod clockwise.
/** @typedef {import("./types").Drum} Drum */
/** @typedef {import("./types").Round} Round */

/** @param {number} place */
export function atRod(place) {
  return Number.isInteger(place);
}

/** The rods on either side of a place between two. @param {number} place @param {number} rods */
export function neighbours(place, rods) {
  const rod = Math.floor(place);
  return [rod, (rod % rods) + 1];
}

/** A place inside a sentence. @param {number} place @param {number} rods */
export function placeWords(place, rods) {
  return atRod(place) ? `rod ${place}` : `halfway between rods ${neighbours(place, rods).join(" and ")}`;
}

/** The same at its shortest, to begin a line or to be spoken. @param {number} place @param {number} rods */
export function placeCue(place, rods) {
  return atRod(place) ? `Rod ${place}` : `Between ${neighbours(place, rods).join(" and ")}`;
}

/** The same as a sign. @param {number} place @param {number} rods */
export function placeSign(place, rods) {
  return atRod(place) ? `${place}` : neighbours(place, rods).join("–");
}

/** Rods of a drum, clockwise, and the places halfway if they are tapped too. @param {number} rods @param {boolean} halfway */
export function placesOf(rods, halfway) {
  const beside = Array.from({ length: rods }, (_, i) => i + 1);
  return halfway ? beside.flatMap((rod) => [rod, rod + 0.5]) : beside;
}

/** Whether a round is tapped between the rods too. @param {Round} round */
export function goesHalfway(round) {
  return !round.places.every(atRod);
}

/** Taps kept and wanted at a place. @param {Round} round @param {number} place */
export function tally(round, place) {
  const at = round.places.indexOf(place);
  return { have: round.counts[at] ?? 0, want: round.wanted[at] ?? 0 };
}
