// Keyboard and foot switch: which key does what in which state.
/** @typedef {import("./types").App} App */
/** @typedef {import("./types").Act} Act */

const BACK = ["ArrowLeft", "PageUp", "Backspace"], ON = ["ArrowRight", "PageDown"];

/** Whether a key belongs to the element that has the focus. @param {KeyboardEvent} event */
function isTyping(event) {
  const at = event.target;
  if (!(at instanceof HTMLElement)) return false;
  if (at.matches("select, textarea, input:not([type=radio]):not([type=checkbox])")) return true;
  if (at.matches("input[type=radio]")) return event.key.startsWith("Arrow") || event.key === " ";
  if (at.matches("input[type=checkbox]")) return event.key === " ";
  return at.matches("button, a") && (event.key === " " || event.key === "Enter");
}

/**
 * @param {KeyboardEvent} event @param {App} app @param {Act} act
 * @param {{back: () => void, on: () => void, aloud: () => void}} moves
 */
export function onKey(event, app, act, moves) {
  if (event.ctrlKey || event.metaKey || event.altKey || isTyping(event)) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const panel = (/** @type {App["panel"]} */ name) =>
    act.change({ panel: app.panel === name ? "none" : name });
  /** @type {Record<string, () => void>} */
  const table = {
    " ": () => space(app, act, moves), Enter: act.primary, l: act.listen, r: moves.aloud,
    u: () => panel("units"), "?": () => panel("help"), h: () => panel("help"),
    Escape: () => act.change({ panel: "none", changing: false }),
  };
  const does = BACK.includes(key) ? moves.back : ON.includes(key) ? moves.on : table[key];
  if (!does || (event.repeat && key !== "Escape")) return;
  event.preventDefault();
  does();
}

/** While a real drum is heard, space takes back; everywhere else it goes on. @param {App} app @param {Act} act @param {{back: () => void}} moves */
function space(app, act, moves) {
  const session = app.session;
  const hearing = session?.state === "listening" && session.round?.source === "microphone";
  if (hearing && app.ear.state === "open") moves.back();
  else act.primary();
}
