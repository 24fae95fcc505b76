// Numbers in the units that the person chose.
/** @typedef {import("./types").Prefs} Prefs */

/** @param {number} value @param {number} digits */
function signed(value, digits) {
  const text = Math.abs(value).toFixed(digits);
  if (Number(text) === 0) return text;
  return (value < 0 ? "−" : "+") + text;
}

/**
 * A tension deviation (fraction) as percent, cents or Hz of the head's note.
 * @param {number} deviation @param {Prefs} prefs @param {number} noteHz
 */
export function tensionValue(deviation, prefs, noteHz) {
  const safe = Math.max(deviation, -0.99);
  if (prefs.tension === "cents") return 600 * Math.log2(1 + safe);
  if (prefs.tension === "hz") return noteHz * (Math.sqrt(1 + safe) - 1);
  return 100 * safe;
}

/** @param {Prefs} prefs */
export function tensionUnit(prefs) {
  return { percent: "%", cents: "cents", hz: "Hz" }[prefs.tension];
}

/** @param {number} deviation @param {Prefs} prefs @param {number} noteHz */
export function tension(deviation, prefs, noteHz) {
  const value = tensionValue(deviation, prefs, noteHz);
  return `${signed(value, prefs.tension === "cents" ? 0 : 1)} ${tensionUnit(prefs)}`;
}

/**
 * Slack, tight or even, in words with the number.
 * @param {number} deviation @param {Prefs} prefs @param {number} noteHz
 */
export function tensionWords(deviation, prefs, noteHz) {
  if (Math.abs(deviation) < 0.0005) return "even";
  const value = Math.abs(tensionValue(deviation, prefs, noteHz));
  const text = `${value.toFixed(prefs.tension === "cents" ? 0 : 1)} ${tensionUnit(prefs)}`;
  return `${text} ${deviation < 0 ? "slack" : "tight"}`;
}

/** @param {number} a @param {number} b @returns {number} */
function divisor(a, b) {
  return b ? divisor(b, a % b) : a;
}

/**
 * How far to turn, without direction: as a fraction of a key turn or in degrees.
 * @param {number} turns @param {Prefs} prefs
 */
export function howFar(turns, prefs) {
  const size = Math.abs(turns);
  if (prefs.turn === "degrees") return `${Math.round(size * 360)}°`;
  return `${fraction(size)} turn${size > 1 ? "s" : ""}`;
}

/**
 * The other unit, for the small print.
 * @param {number} turns @param {Prefs} prefs
 */
export function howFarElse(turns, prefs) {
  const other = prefs.turn === "degrees" ? "fraction" : "degrees";
  return howFar(turns, { ...prefs, turn: other });
}

/** @param {number} size */
function fraction(size) {
  const parts = Math.max(1, Math.round(size * 64));
  const whole = Math.floor(parts / 64), rest = parts % 64;
  if (!rest) return String(whole);
  const common = divisor(rest, 64);
  return `${whole ? `${whole} ` : ""}${rest / common}/${64 / common}`;
}

/** @param {number} metres @param {Prefs} prefs */
export function length(metres, prefs) {
  if (prefs.length === "mm") return `${Math.round(metres * 1000)} mm`;
  const inches = metres / 0.0254;
  return `${Number(inches.toFixed(1))}″`;
}

/** Thickness of a film. @param {number} metres @param {Prefs} prefs */
export function film(metres, prefs) {
  return prefs.length === "mm"
    ? `${Math.round(metres * 1e6)} µm` : `${Number((metres / 25.4e-6).toFixed(1))} mil`;
}

/** @param {number} hz */
export function hertz(hz) {
  return `${hz < 100 ? hz.toFixed(2) : hz.toFixed(1)} Hz`;
}

/** @param {number} value */
export function centsText(value) {
  return `${signed(value, 0)} cents`;
}

/** @param {string} side */
export function sideWords(side) {
  return { batter: "batter", snare_side: "snare side", resonant: "resonant side" }[side] ?? side;
}
