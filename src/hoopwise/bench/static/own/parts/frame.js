// What stands around every view: header, stage rail, notices.
import { button, h } from "../dom.js";
import { MESSAGES } from "../messages.js";
import { film, length, sideWords } from "../units.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Act} Act */

const STAGES = [["mount", "Mount", "checklist, first pass"], ["even", "Even", "tap, turn, tap"],
  ["seat", "Seat", "press, compare"]];

/** @param {App} app @param {Act} act */
export function header(app, act) {
  const drum = app.session?.drum;
  const facts = drum ? `${sideWords(drum.side)} up · ${length(drum.diameter_m, app.prefs)} × ${length(drum.depth_m, app.prefs)} · film ${film(drum.film_m, app.prefs)} · ${drum.rods} rods`
    + (drum.two_heads ? ` · other head ${drum.other_head}` : "") : "no drum yet";
  const busy = !["ready", "read"].includes(app.session?.state ?? "");
  return [h("p", { class: "brand" }, h("b", {}, "hoopwise"), h("span", {}, " bench")),
    h("p", { class: "facts-line" }, drum ? h("b", {}, drum.name) : null, drum ? " " : null, h("span", {}, facts),
      app.session?.practice ? h("span", { class: "tag" }, "practice, simulated") : null),
    h("div", { class: "tools" },
      h("span", { class: `link ${app.link}` }, app.link === "open" ? null : "not connected"),
      drum ? button("change", "Drum", () => act.change({ panel: "none", changing: !app.changing }), { disabled: busy }) : null,
      button("units", "Units", () => act.change({ panel: app.panel === "units" ? "none" : "units" }), { hint: "U" }),
      button("phone", "Phone", () => act.change({ panel: app.panel === "phone" ? "none" : "phone" }), {}),
      button("help", "Keys", () => act.change({ panel: app.panel === "help" ? "none" : "help" }), { hint: "?" }))];
}

/** @param {App} app @param {Act} act */
export function rail(app, act) {
  const session = app.session;
  if (!session?.drum) return [];
  const free = ["ready", "read"].includes(session.state);
  return [h("ol", {}, ...STAGES.map(([stage, name, words]) => {
    const open = session.stage === stage, done = isDone(app, stage);
    return h("li", { class: open ? "open" : "" },
      h("button", { type: "button", "data-key": `stage-${stage}`, disabled: !free && !open,
        "aria-current": open ? "step" : null, onclick: () => act.send({ kind: "set_stage", stage }) },
      h("b", {}, name), h("small", {}, done ? "✓ done" : words)));
  }))];
}

/** @param {App} app @param {string} stage */
function isDone(app, stage) {
  const session = app.session;
  if (stage === "mount") {
    return Boolean(session?.drum?.first_pass.every((rod) => session.marks.includes(`pass-${rod}`)));
  }
  return Boolean(session?.marks.includes(`stage-${stage}`));
}

/** What stops the work, in words. @param {App} app @param {Act} act */
export function notices(app, act) {
  const nodes = [];
  if (app.link === "away") nodes.push(notice("away", MESSAGES.away.title, MESSAGES.away.todo, null));
  if (app.notice) {
    const known = MESSAGES[app.notice.code];
    const retry = ["denied", "none", "busy", "failed", "lost", "gesture", "asleep", "muted"].includes(app.notice.code)
      ? button("retry", app.notice.code === "asleep" || app.notice.code === "gesture" ? "Go on" : "Try again", act.listen, { kind: "main" })
      : button("dismiss", "All right", () => act.change({ notice: null }), {});
    nodes.push(notice(app.notice.code, known?.title ?? "Not possible now", app.notice.sentence ?? known?.todo ?? "", retry));
  }
  const told = app.session?.notice;
  if (told) nodes.push(notice(told.code, told.code === "not_read" ? "The round could not be read" : "Please note", told.sentence, null));
  return nodes;
}

/** @param {string} code @param {string} title @param {string} todo @param {Node | null} act */
function notice(code, title, todo, act) {
  return h("div", { class: "notice", role: "alert", "data-notice": code },
    h("p", {}, h("b", {}, title)), h("p", {}, todo), act ? h("div", { class: "actions" }, act) : null);
}
