// First view: which drum, which head, how to listen.
import { button, h, sheet } from "../dom.js";
import { cautions } from "./common.js";
/** @typedef {import("../types").App} App */
/** @typedef {import("../types").Act} Act */
/** @typedef {import("../types").SetupForm} SetupForm */

/** @returns {SetupForm} */
export function emptySetup() {
  return {
    template: "snare-14x5.5", side: "batter", other: "off", table: null, own: false, name: "",
    kind: "snare", diameter: "14", depth: "6", rods: "10", film: "10", film2: "3", practice: false,
  };
}

/** The drum tables that the form describes. @param {App} app @returns {Record<string, any>} */
export function drumOf(app) {
  const form = app.setup;
  if (form.table) return form.table;
  if (!form.own) return app.tables?.templates[form.template] ?? {};
  const second = form.kind === "snare" ? "snare_side" : "resonant";
  return {
    drum: { name: form.name || "my drum", kind: form.kind, diameter_in: Number(form.diameter),
      depth_in: Number(form.depth), rods: Math.round(Number(form.rods)) },
    batter: { film_mil: Number(form.film) }, [second]: { film_mil: Number(form.film2) },
    hoop: { kind: form.kind === "kick" ? "wood" : "flanged" },
  };
}

/** @param {App} app @param {Act} act */
export function setupView(app, act) {
  const form = app.setup;
  /** @param {Partial<SetupForm>} patch */
  const set = (patch) => act.change({ setup: { ...form, ...patch } });
  const table = drumOf(app), kind = table.drum?.kind ?? "snare";
  const other = kind === "snare" ? "snare_side" : "resonant";
  const side = form.side === "batter" ? "batter" : other;
  const begin = () => act.send({ kind: "set_drum", drum: table, side,
    other_head: table[other] ? form.other : "off", practice: form.practice });
  return [h("div", { class: "column" },
    h("h1", { class: "lead" }, "Which drum is on the bench?"),
    sheet("Drum", null, drumChoice(app, set, act), form.own && !form.table ? ownDrum(form, set) : null),
    sheet("Head", null,
      choice("Working on", "side", form.side === "batter" ? "batter" : "other",
        [["batter", "Batter"], ["other", kind === "snare" ? "Snare side" : "Resonant side"]],
        (v) => set({ side: v === "batter" ? "batter" : other })),
      choice("The other head is", "other", form.other,
        [["off", "Off"], ["muted", "On, muted"], ["ringing", "On, ringing"]], (v) => set({ other: v })),
      h("p", { class: "soft" }, "Off or muted is easiest to read: lay the drum on a cloth so that the other head keeps still.")),
    sheet("Sound", null,
      choice("Listen to", "practice", form.practice ? "yes" : "no",
        [["no", "My drum"], ["yes", "A practice drum (no drum needed)"]], (v) => set({ practice: v === "yes" }))),
    h("div", { class: "actions" }, button("begin", "Put it on the bench", begin, { kind: "main", hint: "Enter" })),
    cautions("Close loud hits hurt the ears: tap softly, and wear ear protection when you play."))];
}

/** @param {App} app @param {(p: Partial<SetupForm>) => void} set @param {Act} act */
function drumChoice(app, set, act) {
  const form = app.setup;
  const names = Object.keys(app.tables?.templates ?? {});
  const value = form.table ? "file" : form.own ? "own" : form.template;
  const options = [...names.map((n) => [n, words(n)]), ["own", "Another size…"]];
  if (form.table) options.push(["file", String(/** @type {any} */ (form.table).drum?.name ?? "from file")]);
  return h("div", { class: "field" },
    h("label", { for: "drum" }, "Size"),
    h("select", { id: "drum", "data-key": "drum", onchange: (/** @type {Event} */ e) => {
      const v = /** @type {HTMLSelectElement} */ (e.target).value;
      if (v !== "file") set({ own: v === "own", template: v === "own" ? form.template : v, table: null });
    } }, ...options.map(([v, text]) => h("option", { value: v, selected: v === value }, text))),
    h("label", { class: "filelabel" }, "Or open a drum file",
      h("input", { type: "file", accept: ".toml", "data-key": "drumfile", onchange: (/** @type {Event} */ e) => {
        const file = /** @type {HTMLInputElement} */ (e.target).files?.[0];
        if (file) act.openDrumFile(file);
      } })));
}

/** @param {string} name */
function words(name) {
  const [kind, size] = name.split("-");
  return `${kind[0].toUpperCase()}${kind.slice(1)}, ${size.replace("x", " × ")} inches`;
}

/** @param {SetupForm} form @param {(p: Partial<SetupForm>) => void} set */
function ownDrum(form, set) {
  /** @type {[keyof SetupForm, string, string][]} */
  const fields = [["name", "Name", ""], ["diameter", "Diameter", "inches"], ["depth", "Depth", "inches"],
    ["rods", "Rods on a side", ""], ["film", "Batter film", "mil"], ["film2", "Other film", "mil"]];
  return h("div", { class: "grid2" },
    h("div", { class: "field" }, h("label", { for: "kind" }, "Kind"),
      h("select", { id: "kind", "data-key": "kind", onchange: (/** @type {Event} */ e) =>
        set({ kind: /** @type {HTMLSelectElement} */ (e.target).value }) },
      ...["snare", "tom", "kick"].map((k) => h("option", { value: k, selected: k === form.kind }, k)))),
    ...fields.map(([key, label, unit]) => h("div", { class: "field" },
      h("label", { for: `own-${key}` }, unit ? `${label}, ${unit}` : label),
      h("input", { id: `own-${key}`, "data-key": `own-${key}`, type: "text", value: form[key],
        inputmode: key === "name" ? "text" : "decimal",
        oninput: (/** @type {Event} */ e) =>
          set({ [key]: /** @type {HTMLInputElement} */ (e.target).value.replace(",", ".") }) }))));
}

/**
 * Radio buttons in a row.
 * @param {string} legend @param {string} name @param {string} value
 * @param {string[][]} options @param {(v: string) => void} pick
 */
export function choice(legend, name, value, options, pick) {
  return h("fieldset", { class: "choice" }, h("legend", {}, legend),
    ...options.map(([v, text]) => h("label", {},
      h("input", { type: "radio", name, value: v, checked: v === value, "data-key": `${name}-${v}`,
        onchange: () => pick(v) }), h("span", {}, text))));
}
