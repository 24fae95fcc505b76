// Small builders for HTML and SVG elements; text is only ever set as text.
const SVG = "http://www.w3.org/2000/svg";

/** @typedef {Node | string | number | null | undefined | false} Child */
/** @typedef {Record<string, unknown>} Attributes */

/**
 * @param {Element} node
 * @param {Attributes} attributes
 * @param {(Child | Child[])[]} children
 */
function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === "function") {
      node.addEventListener(name.slice(2), /** @type {EventListener} */ (value));
    } else if (name === "value" && node instanceof HTMLInputElement) {
      node.value = String(value);
    } else {
      node.setAttribute(name, value === true ? "" : String(value));
    }
  }
  for (const child of children.flat()) {
    if (child === null || child === undefined || child === false) continue;
    node.append(child instanceof Node ? child : String(child));
  }
}

/**
 * An HTML element; attributes that are functions are listeners ("onclick").
 * @param {string} tag @param {Attributes} [attributes] @param {...(Child | Child[])} children
 * @returns {HTMLElement}
 */
export function h(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  fill(node, attributes, children);
  return node;
}

/**
 * An SVG element.
 * @param {string} tag @param {Attributes} [attributes] @param {...(Child | Child[])} children
 * @returns {SVGElement}
 */
export function s(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  fill(node, attributes, children);
  return node;
}

/**
 * Replace what is in a place, and keep the focus on the element with the same data-key.
 * @param {Element} place @param {(Node | null)[]} nodes
 */
export function put(place, nodes) {
  const active = document.activeElement;
  const key = active && place.contains(active) ? active.getAttribute("data-key") : null;
  const caret = active instanceof HTMLInputElement && active.type === "text"
    ? active.selectionStart : null;
  place.replaceChildren(...nodes.filter((n) => n !== null));
  if (key === null) return;
  const again = place.querySelector(`[data-key="${CSS.escape(key)}"]`);
  if (again instanceof HTMLElement || again instanceof SVGElement) again.focus({ preventScroll: true });
  if (caret !== null && again instanceof HTMLInputElement) again.setSelectionRange(caret, caret);
}

/**
 * A button whose key hint is shown beside its words.
 * @param {string} key @param {string} words @param {() => void} act
 * @param {{hint?: string, kind?: string, disabled?: boolean, pressed?: boolean}} [more]
 */
export function button(key, words, act, more = {}) {
  return h("button", {
    type: "button", "data-key": key, class: `button ${more.kind ?? ""}`, disabled: more.disabled,
    "aria-pressed": more.pressed === undefined ? null : String(more.pressed), onclick: act,
  }, words, more.hint ? h("kbd", { "aria-hidden": "true" }, more.hint) : null);
}

/**
 * A section with a heading.
 * @param {string} title @param {Child} note @param {...(Child | Child[])} children
 */
export function sheet(title, note, ...children) {
  return h("section", { class: "sheet", "aria-label": title },
    h("h2", {}, title, note ? h("small", {}, note) : null), ...children);
}
