// The layout clock, links, rules, the last events, a mark, and this page's own settings.
import { at, el, fresh, set } from "/page/dom.js";
import { feed } from "/page/feed.js";
import { ask } from "/page/orders.js";
import { length, SECOND, timeOfDay } from "/page/words.js";

const EVENTS_SHOWN = 60;

export function clock(home) {
  const id = fresh("time"), words = el("p", { class: "figures" }), input = el("input", { id, type: "time", step: 60, required: true });
  const run = el("button", { type: "button", onclick: () => ask({ do: "clock", time: feed.state.clock[2] ? "stop" : "run" }) });
  home.append(words, el("div", { class: "row" }, el("div", { class: "do" }, run)), el("form", { class: "fields", onsubmit: (event) => {
    event.preventDefault();
    ask({ do: "clock", time: input.value });
  } }, el("div", { class: "field" }, el("label", { for: id, text: "Set it to" }), input), el("button", { type: "submit", text: "Set the clock" })));
  feed.on("clock", ([, , running]) => set(run, running ? "Stop the layout clock" : "Let the layout clock run"));
  return () => {
    const [, , running, ratio] = feed.state.clock ?? [0, 0, true, 1], time = timeOfDay(feed.layoutSecond());
    const rate = ratio === 1 ? "" : `, ${ratio} times as quick as the hall's`;
    set(words, `${time}${running ? rate : ", stopped"}`);
    set(at("time"), time);
    set(at("time-note"), running ? "layout time" : "layout time, stopped");
  };
}

export function links(home) {
  const list = el("ul"), fault = el("p");
  home.append(list, el("h3", { text: "Last fault" }), fault);
  feed.on("links", (lines) => {
    const shown = lines.length ? lines : [feed.facts.dry_run ? "A dry run: no hardware is touched." : "No link."];
    list.replaceChildren(...shown.map((text) => el("li", { class: "row", text })));
  });
  feed.on("fault", (one) => set(fault, one ? `${length(one[0] / SECOND)} after the beginning: ${one[1]}` : "None so far."));
}

export function rules(home) {
  const list = el("ul");
  home.append(list);
  if (!feed.facts.rules.length) home.append(el("p", { class: "soft", text: "There is none." }));
  for (const name of feed.facts.rules) {
    const state = el("span", { class: "state" });
    list.append(el("li", { class: "row" }, el("div", { class: "what" }, el("span", { class: "name", text: name }), " ", state)));
    feed.on(`rule ${name}`, ([times, last]) => set(state, times ? `✕ broken ${times === 1 ? "once" : `${times} times`}, last at ${length(last / SECOND)}` : "✓ kept so far"));
  }
}

export function events(home) {
  const list = el("ol");
  home.append(el("p", { class: "soft", text: "The newest first." }), el("div", { class: "scrolled", tabindex: 0, role: "group", "aria-label": "Last events" }, list));
  let last = 0;
  return (fresh) => {
    for (const [number, text] of fresh) {
      if (number <= last) continue;
      last = number;
      list.prepend(el("li", { text }));
    }
    while (list.children.length > EVENTS_SHOWN) list.lastChild.remove();
  };
}

export function mark(home) {
  const id = fresh("note"), note = el("input", { id, maxlength: 180, autocomplete: "off" });
  home.append(el("form", { class: "fields", onsubmit: async (event) => {
    event.preventDefault();
    if (await ask({ do: "mark", note: note.value })) note.value = "";
  } }, el("div", { class: "wide" }, el("label", { for: id, text: "What was odd? (may be left empty)" }), note), el("button", { type: "submit", class: "wide", text: "Mark this moment" })));
}

export function page(home) {
  const shade = el("select", { id: "shade", onchange: () => { choose(shade.value); localStorage.setItem("shade", shade.value); } },
    ...[["", "as this device has it"], ["dark", "dark"], ["light", "light"]].map(([value, text]) => el("option", { value, text })));
  const choose = (value) => { if (value) document.documentElement.dataset.shade = value; else delete document.documentElement.dataset.shade; };
  shade.value = localStorage.getItem("shade") ?? "";
  choose(shade.value);
  home.append(el("label", { for: "shade", text: "Shades" }), shade,
    el("p", { text: "Escape twice within a second is all stop." }),
    el("p", { class: "soft", text: "All stop leaves track power as it is. With the power gone a model stays as it is: it does not fail safe." }));
}
