// Makes elements. Text is only ever set as text, so that no name and no note can become markup.
const SVG = "http://www.w3.org/2000/svg";

function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === undefined || value === false) continue;
    if (name === "text") element.textContent = value;
    else if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children);
  return element;
}

export const el = (tag, attributes, ...children) => filled(document.createElement(tag), attributes, children);
export const svg = (tag, attributes, ...children) => filled(document.createElementNS(SVG, tag), attributes, children);
export const at = (id) => document.getElementById(id);

export function set(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

export function able(button, may) {
  button.setAttribute("aria-disabled", String(!may)); // it keeps the focus, unlike `disabled`
}

// Keys that have just come, or have just moved, take no press for a moment: it was meant for what stood there before.
// Whoever presses by keyboard has chosen the very key.
const SETTLES_MS = 400;
const settling = new WeakMap();
export function settle(home) {
  const keys = home.querySelectorAll("button");
  for (const key of keys) { able(key, false); key.classList.add("settles"); }
  clearTimeout(settling.get(home));
  settling.set(home, setTimeout(() => { for (const key of keys) { able(key, true); key.classList.remove("settles"); } }, SETTLES_MS));
}
export const mayPress = (event) => event.detail === 0 || event.currentTarget.getAttribute("aria-disabled") !== "true";

let numbers = 0;
export const fresh = (word) => `${word}-${++numbers}`;
