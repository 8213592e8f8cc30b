// Every output as a tile, by crossing and scene; a tile opens what a hand can do with it.
import { able, el, fresh, set } from "/page/dom.js";
import { feed } from "/page/feed.js";
import { glyph } from "/page/glyphs.js";
import { ask } from "/page/orders.js";

const GRIPS = ["by hand", "blackout", "mute"];
const MANY = 30; // so many are not looked through any more: they are looked for by name
const SWITCHED = ["off", "on"];

function states(output) {
  return output.states.length ? output.states : output.kind === "motor" ? ["off", "50 % forwards", "50 % backwards"] : SWITCHED;
}

// What is guarded is its scene's, but while its crossing is worked by hand. Says what keeps a hand off, and hears when that changes.
function keptOff(output, hear) {
  if (!output.guarded) { hear(""); return; }
  const crossing = feed.facts.crossings.find((one) => one.name === output.group)?.name;
  if (!crossing) { hear("guarded: only its scene tells it what to do"); return; }
  feed.on(`crossing ${crossing}`, (worked) => hear(worked ? "" : `guarded: work ${crossing} by hand first`));
}

function pressed(button, act) {
  button.addEventListener("click", () => { if (button.getAttribute("aria-disabled") !== "true") act(); });
  return button;
}

function hand(output) {
  const what = el("p"), take = (state) => ask({ do: "take", output: output.name, state });
  const keys = states(output).map((state) => pressed(el("button", { type: "button", class: "takes", text: state }), () => take(state)));
  const free = pressed(el("button", { type: "button", text: `Let go ${output.name}` }), () => ask({ do: "let go", output: output.name }));
  const panel = el("div", { class: "hand", id: fresh("hand"), hidden: true, role: "group", "aria-label": `${output.name} by hand` }, what, el("div", { class: "do" }, ...keys, free));
  let level = null;
  if (output.dimmable && output.kind === "lamp") {
    const name = fresh("level");
    level = el("input", { id: name, type: "range", min: 0, max: 100, step: 5, onchange: () => take(`${level.value} %`) });
    panel.insertBefore(el("label", { for: name }, "Level ", level), panel.lastChild);
  }
  feed.on(`out ${output.name}`, ([value, words, holder]) => {
    const whose = GRIPS.includes(holder) ? `held: ${holder}` : holder ? `told by scene ${holder}` : "no scene has it";
    set(what, `${output.name}: ${words}; ${whose}`);
    able(free, holder === "by hand");
    if (level && document.activeElement !== level) level.value = Math.round(value * 100);
  });
  if (output.angles) angles(output, panel);
  const off = el("p", { class: "soft" });
  what.after(off);
  keptOff(output, (why) => {
    set(off, why ? `It is ${why}.` : "");
    off.hidden = !why;
    for (const key of panel.querySelectorAll("button.takes")) able(key, !why);
    if (level) level.disabled = Boolean(why);
  });
  return panel;
}

// Steps of a servo that is moved from here, its angle and pulse, and its named ends put where it stands.
function angles(output, panel) {
  const { span: [nought, whole], limits, pulse: [least, most, widest] } = output.angles;
  const reads = el("p", { class: "angle" });
  const steps = [-5, -1, 1, 5].map((by) => {
    const text = `${by > 0 ? "+" : "\u2212"}${Math.abs(by)}°`;
    return pressed(el("button", { type: "button", class: "takes", text, "aria-label": `${text} ${output.name}` }), () => ask({ do: "step", output: output.name, by: `${by} deg` }));
  });
  const ends = output.states.map((end) => pressed(el("button", { type: "button", text: `${end} is here`, "aria-label": `${end} is here: save it for ${output.name}` }),
    () => ask({ do: "here", output: output.name, end })));
  panel.append(reads, el("div", { class: "do" }, ...steps),
    el("p", { class: "soft", text: "Fingers out. If it hums against a stop, step back. An end that is here now goes into the layout file:" }),
    el("div", { class: "do" }, ...ends));
  feed.on(`out ${output.name}`, ([share, words, holder]) => {
    const at = nought + share * (whole - nought), us = least + Math.min(Math.max(at, 0), widest) * (most - least) / widest;
    set(reads, `${at.toFixed(1)}°, ${us.toFixed(0)} µs; limits ${limits[0]}° to ${limits[1]}°`);
    for (const key of ends) able(key, holder === "by hand" && !words.startsWith("on its way"));
  });
}

function tile(output) {
  const [picture, show] = glyph(output, feed.facts);
  const state = el("span", { class: "state" }), holder = el("span", { class: "holder" });
  const name = el("span", { class: "name", text: output.name });
  if (!output.told_by_hand) {
    const only = el("div", { class: "tile" }, picture, name, state);
    feed.on(`out ${output.name}`, (value) => { show(value); set(state, value[1]); });
    return [only];
  }
  const panel = hand(output);
  const button = el("button", { type: "button", class: "tile", "aria-expanded": "false", "aria-controls": panel.id, onclick: () => {
    panel.hidden = !panel.hidden;
    button.setAttribute("aria-expanded", String(!panel.hidden));
  } }, picture, name, state, holder);
  feed.on(`out ${output.name}`, (value) => {
    show(value);
    set(state, value[3] ? value[1] : `${value[1]} (out of reach)`);
    const held = GRIPS.includes(value[2]);
    set(holder, held ? value[2] : "");
    button.classList.toggle("held", held);
    button.classList.toggle("lost", !value[3]);
  });
  return [button, panel];
}

// A field that leaves those whose name has what is written there.
function sieve(home) {
  const id = fresh("part"), field = el("input", { id, type: "search", maxlength: 60, autocomplete: "off", autocapitalize: "none" });
  const found = el("p", { class: "soft", role: "status" });
  field.addEventListener("input", () => {
    const wanted = field.value.trim().toLowerCase();
    let count = 0;
    for (const tiles of home.querySelectorAll(".tiles")) {
      for (const one of tiles.querySelectorAll(".tile")) {
        one.hidden = !one.querySelector(".name").textContent.toLowerCase().includes(wanted);
        const panel = document.getElementById(one.getAttribute("aria-controls") ?? "");
        if (panel) panel.hidden = one.hidden || one.getAttribute("aria-expanded") !== "true";
        count += one.hidden ? 0 : 1;
      }
      tiles.hidden = tiles.previousElementSibling.hidden = !tiles.querySelector(".tile:not([hidden])");
    }
    set(found, wanted ? `${count || "No"} ${count === 1 ? "output has" : "outputs have"} that in the name.` : "");
  });
  home.append(el("div", { class: "field" }, el("label", { for: id, text: "Part of a name" }), field), found);
}

export function outputs(home) {
  const shown = feed.facts.outputs.filter((one) => one.kind !== "colour"); // a lamp's colour is seen in the lamp
  const groups = new Map();
  for (const one of shown) {
    if (!groups.has(one.group)) groups.set(one.group, []);
    groups.get(one.group).push(one);
  }
  home.append(el("p", { class: "soft", text: "Choose one to take it by hand; its scene gets it back when you let it go." }));
  if (shown.length > MANY) sieve(home);
  for (const [group, members] of groups) {
    home.append(el("h3", { text: group || "By themselves" }), el("div", { class: "tiles" }, ...members.flatMap(tile)));
  }
}
