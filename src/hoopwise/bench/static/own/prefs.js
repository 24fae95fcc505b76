// What the person chose about the page; kept in this browser only.
/** @typedef {import("./types").Prefs} Prefs */
const NAME = "hoopwise-bench";

/** @type {Prefs} */
const DEFAULTS = {
  tension: "percent", turn: "fraction", length: "in", theme: "system",
  beep: true, speech: false, order: "around", taps: 2,
};

/** @type {Record<string, unknown[]>} */
const LEGAL = {
  tension: ["percent", "cents", "hz"], turn: ["fraction", "degrees"], length: ["in", "mm"],
  theme: ["system", "light", "dark"], beep: [true, false], speech: [true, false],
  order: ["around", "star", "halfway"], taps: [1, 2, 3, 4],
};

/** @returns {Prefs} */
export function loadPrefs() {
  /** @type {Record<string, unknown>} */
  let kept = {};
  try {
    kept = JSON.parse(localStorage.getItem(NAME) ?? "{}") ?? {};
  } catch { /* a browser that keeps nothing, or something else's value */ }
  const legal = Object.entries(kept).filter(([k, v]) => LEGAL[k]?.includes(v));
  return { ...DEFAULTS, ...Object.fromEntries(legal) };
}

/** @param {Prefs} prefs */
export function savePrefs(prefs) {
  try {
    localStorage.setItem(NAME, JSON.stringify(prefs));
  } catch { /* private window: chosen for this visit only */ }
}

/** @param {Prefs} prefs */
export function applyTheme(prefs) {
  if (prefs.theme === "system") document.documentElement.removeAttribute("data-theme");
  else document.documentElement.setAttribute("data-theme", prefs.theme);
}
