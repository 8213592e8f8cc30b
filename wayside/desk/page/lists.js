// Scenes, detectors, buttons, crossings, trains: a row each, with what can be done about it.
import { able, at, el, fresh, set } from "/page/dom.js";
import { feed } from "/page/feed.js";
import { ask } from "/page/orders.js";
import { length, SECOND, timeOfDay, untilNext } from "/page/words.js";

const MARKS = { occupied: "■", clear: "□", unknown: "?", "out of use": "✕" };
const RUNS = ["running", "stopping"];

function key(text, label, order) {
  const button = el("button", { type: "button", text, "aria-label": label, onclick: () => {
    if (button.getAttribute("aria-disabled") !== "true") ask(order());
  } });
  return button;
}

function row(name, state, ...keys) {
  return el("li", { class: "row" }, el("div", { class: "what" }, el("div", { class: "name", text: name }), state), el("div", { class: "do" }, ...keys));
}

const none = (home, text) => home.append(el("p", { class: "soft", text }));

export function now(home) {
  const list = el("ul"), next = el("ul", { class: "next" }), phase = el("p", { class: "soft" });
  home.append(phase, list, el("h3", { text: "Next by the clock" }), next);
  const rows = new Map(), idle = el("li", { class: "soft", text: "No scene runs." });
  list.append(idle);
  const timed = feed.facts.scenes.flatMap((scene) => scene.timed.map(([second, layoutTime]) => ({ name: scene.name, second, layoutTime })));
  for (const { name } of feed.facts.scenes) {
    const state = el("div", { class: "state" });
    const one = row(name, state);
    one.classList.add("runs");
    rows.set(name, { one, state });
    list.append(one);
  }
  function tick() {
    let running = 0;
    for (const [name, { one, state }] of rows) {
      const [doing, since, why] = feed.state[`scene ${name}`] ?? ["", 0, ""];
      const runs = RUNS.includes(doing);
      one.hidden = !runs;
      running += runs;
      if (runs) set(state, `${doing} for ${length((feed.nowUs() - since) / SECOND)}${why ? `: ${why}` : ""}`);
    }
    idle.hidden = running > 0;
    const ratio = feed.state.clock?.[3] ?? 1, goes = feed.state.clock?.[2] ?? true;
    const heads = timed.map(({ name, second, layoutTime }) => {
      const wait = layoutTime ? untilNext(second, feed.layoutSecond()) / ratio : untilNext(second, feed.hallSecond());
      return { wait, text: `${name} at ${timeOfDay(second).slice(0, 5)} ${layoutTime ? "layout" : "hall"} time, ${layoutTime && !goes ? "when the layout clock runs" : `in ${length(wait)}`}` };
    });
    const day = (feed.state.coming ?? []).map(([atUs, hall, what, why, leftOut]) => {
      const wait = Math.max(0, (atUs - feed.nowUs()) / SECOND);
      return { wait, text: `${what} at ${hall} hall time${why ? ` (${why})` : ""}, in ${length(wait)}${leftOut ? `; ${leftOut}` : ""}` };
    });
    const texts = [...heads, ...day].sort((one, other) => one.wait - other.wait).slice(0, 6).map(({ text }) => text);
    const lines = texts.length ? texts : ["Nothing."];
    while (next.children.length < lines.length) next.append(el("li"));
    while (next.children.length > lines.length) next.lastChild.remove();
    lines.forEach((text, n) => set(next.children[n], text));
    set(phase, `The show has run for ${length(feed.nowUs() / SECOND)}.${feed.state.quiet ? " Now nothing begins by a clock." : ""}`);
  }
  for (const { name } of feed.facts.scenes) feed.on(`scene ${name}`, tick);
  feed.on("coming", tick);
  feed.on("quiet", tick);
  return tick;
}

export function scenes(home) {
  const list = el("ul");
  home.append(list);
  if (!feed.facts.scenes.length) none(home, "There is none.");
  for (const { name, starts } of feed.facts.scenes) {
    const state = el("div", { class: "state" });
    const start = key("Start", `Start ${name}`, () => ({ do: "start", scene: name }));
    const stop = key("Stop", `Stop ${name}`, () => ({ do: "stop", scene: name }));
    const one = row(name, state, start, stop);
    one.firstChild.append(el("div", { class: "soft", text: starts.join("; ") || "started by name" }));
    list.append(one);
    feed.on(`scene ${name}`, ([doing]) => {
      const runs = RUNS.includes(doing);
      set(state, runs ? doing : doing ? "does not run" : "has not run yet");
      one.classList.toggle("runs", runs);
      able(start, doing !== "running");
      able(stop, doing === "running");
    });
  }
}

function aside(name) {
  const id = fresh("reason");
  const reason = el("input", { id, maxlength: 150, required: true, autocomplete: "off" });
  const form = el("form", { class: "fields", hidden: true, onsubmit: async (event) => {
    event.preventDefault();
    if (await ask({ do: "put aside", detector: name, reason: reason.value })) form.hidden = true;
  } }, el("div", { class: "wide" }, el("label", { for: id, text: `Why is ${name} out of use?` }), reason), el("button", { type: "submit", text: `Put ${name} out of use` }));
  return form;
}

export function detectors(home) {
  const list = el("ul");
  home.append(list);
  if (!feed.facts.detectors.length) none(home, "There is none.");
  for (const { name, kind } of feed.facts.detectors) {
    const state = el("div", { class: "state" }), form = aside(name);
    const states = feed.facts.dry_run ? ["occupied", "clear"] : [];
    const keys = states.map((word) => key(word[0].toUpperCase() + word.slice(1), `${name} ${word}`, () => ({ do: "detector", detector: name, state: word })));
    const out = el("button", { type: "button", text: "Out of use…", "aria-label": `Put ${name} out of use`, onclick: () => {
      form.hidden = !form.hidden;
      if (!form.hidden) form.querySelector("input").focus();
    } });
    const back = key("Back in use", `Take ${name} back in use`, () => ({ do: "put back", detector: name }));
    const one = row(name, state, ...keys, out, back);
    one.append(form);
    list.append(one);
    feed.on(`det ${name}`, (word) => {
      set(state, `${MARKS[word] ?? ""} ${word === "unknown" ? "not known: counts as occupied" : word} (${kind})`);
      keys.forEach((button, n) => button.setAttribute("aria-pressed", String(states[n] === word)));
      out.hidden = word === "out of use";
      back.hidden = word !== "out of use";
    });
  }
}

export function buttons(home) {
  const list = el("div", { class: "row" }, el("div", { class: "do" }));
  home.append(list);
  if (!feed.facts.buttons.length) none(home, "There is none.");
  for (const name of feed.facts.buttons) {
    const button = key(`Press ${name}`, undefined, () => ({ do: "press", button: name }));
    list.firstChild.append(button);
    feed.on(`button ${name}`, (down) => set(button, down ? `${name} is pressed` : `Press ${name}`));
  }
}

export function crossings(home) {
  const list = el("ul");
  home.append(list);
  if (!feed.facts.crossings.length) none(home, "There is no crossing.");
  for (const { name, barriers, signals } of feed.facts.crossings) {
    const state = el("div", { class: "state" });
    const work = key("Work by hand", `Work ${name} by hand`, () => ({ do: "work", crossing: name }));
    const back = key("Give back", `Give ${name} back`, () => ({ do: "give back", crossing: name }));
    const one = row(name, state, work, back);
    const keys = el("div", { class: "levers" }, ...[...signals, ...barriers].map((output) => levers(output)));
    one.append(keys);
    list.append(one);
    feed.on(`crossing ${name}`, (worked) => {
      set(state, worked ? "by hand: signals first go to danger, then move the barriers" : "by its scene");
      work.hidden = worked; back.hidden = keys.hidden = !worked;
    });
  }
}

function levers(name) {
  const output = feed.facts.outputs.find((one) => one.name === name), state = el("span", { class: "state" });
  const keys = (output?.states ?? []).map((word) => key(word, `${name} ${word}`, () => ({ do: "take", output: name, state: word })));
  feed.on(`out ${name}`, ([, words]) => set(state, ` ${words}`));
  return el("div", { class: "row" }, el("div", { class: "what" }, el("span", { class: "name", text: name }), state), el("div", { class: "do" }, ...keys));
}

export function trains(home) {
  if (!feed.facts.dry_run || !feed.facts.tracks.length) return;
  home.hidden = false;
  const field = (label, control, wide) => { const id = control.id; return el("div", { class: wide ? "wide field" : "field" }, el("label", { for: id, text: label }), control); };
  const track = el("select", { id: "train-track", onchange: chosen }, ...feed.facts.tracks.map((one) => el("option", { value: one.name, text: one.name })));
  const size = el("input", { id: "train-length", type: "number", min: 1, max: 20_000, step: 1, required: true });
  const speed = el("input", { id: "train-speed", type: "number", min: 5, max: 2_000, step: 1, required: true });
  const way = el("select", { id: "train-way" }, el("option", { value: "along", text: "along the track" }), el("option", { value: "backwards", text: "from its far end" }));
  const ignores = el("input", { id: "train-ignores", type: "checkbox" });
  home.append(el("form", { class: "fields", onsubmit: (event) => {
    event.preventDefault();
    ask({ do: "train", track: track.value, length: size.value, speed: speed.value, direction: way.value, signals: ignores.checked ? "ignored" : "obeyed" });
  } }, field("Track", track), field("Length, mm", size), field("Speed, mm/s", speed), field("Direction", way),
  el("label", { class: "tick wide" }, ignores, "passes signals at danger"), el("button", { type: "submit", class: "wide", text: "Send the train" })));
  const list = el("ul");
  home.append(list);
  function chosen() {
    const one = feed.facts.tracks.find((some) => some.name === track.value);
    size.value = Math.max(one.shortest_mm, 600);
    speed.value = one.fastest_mm_s || 150;
    way.value = "along";
    way.lastChild.disabled = one.one_way;
  }
  chosen();
  const rows = new Map();
  feed.on("trains", (all) => {
    for (const [number, { one }] of rows) if (!all.some((train) => train.train === number)) { one.remove(); rows.delete(number); }
    for (const train of all) {
      if (!rows.has(train.train)) {
        const state = el("div", { class: "state" });
        const one = row(`train ${train.train}`, state, key("Take away", `Take train ${train.train} away`, () => ({ do: "take away", train: String(train.train) })));
        rows.set(train.train, { one, state });
        list.append(one);
      }
      const words = train.held ? "waits at a signal" : `runs at ${Math.abs(train.speed_um_s) / 1000} mm/s`;
      set(rows.get(train.train).state, `${train.track}, ${Math.abs(train.front_um - train.tail_um) / 1000} mm long, ${words}`);
    }
  });
}
