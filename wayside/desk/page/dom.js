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

let numbers = 0;
export const fresh = (word) => `${word}-${++numbers}`;
