// The plan as the layout file gives it, seen from above: tracks with their trains, roads, and every output at its place.
import { el, set, svg } from "/page/dom.js";
import { feed } from "/page/feed.js";
import { glyph } from "/page/glyphs.js";
import { SECOND } from "/page/words.js";

const EDGE = 14, NARROWEST = 680; // px; on a narrower screen the plan slides sideways
const STATES = { occupied: "occupied", unknown: "not known", "out of use": "out of use", clear: "clear" };
const MOST_ASIDE = 40;

const unheard = []; // what the sheet that is drawn hears; forgotten with it
const hear = (name, show) => unheard.push(feed.on(name, show));
const far = ([ax, ay], [bx, by]) => Math.hypot(bx - ax, by - ay);
const line = (spots) => `M${spots.map((spot) => spot.map((n) => n.toFixed(1)).join(" ")).join("L")}`;

// A track as it is drawn, in px. Lengths along it are in proportion to those of the track.
class Way {
  constructor(track, spots) {
    this.track = track; this.spots = spots;
    this.drawn = spots.slice(1).reduce((sum, spot, n) => sum + far(spots[n], spot), 0);
  }
  // The spots from one place along the track to another, in mm of it.
  between(fromMm, toMm) {
    const px = (mm) => (Math.min(this.track.length_mm, Math.max(0, mm)) / this.track.length_mm) * this.drawn;
    const from = px(Math.min(fromMm, toMm)), to = px(Math.max(fromMm, toMm)), found = [];
    let done = 0;
    this.spots.slice(1).forEach((spot, n) => {
      const before = this.spots[n], length = far(before, spot);
      const at = (way) => before.map((value, axis) => value + ((spot[axis] - value) * (way - done)) / length);
      if (done + length >= from && done <= to) {
        if (!found.length) found.push(at(Math.max(from, done)));
        found.push(at(Math.min(to, done + length)));
      }
      done += length;
    });
    return fromMm <= toMm ? found : found.reverse();
  }
  at(mm) { return this.between(mm, mm)[0]; }
}

// Names beside what they name, where there is room; a name that finds none is left to the list of outputs.
class Labels {
  constructor(sheet, wide, high) { Object.assign(this, { sheet, wide, high, taken: [] }); }
  keep(x, y, w, h) { this.taken.push([x, y, x + w, y + h]); }
  free(x, y, w, h) {
    if (x < 0 || y < 0 || x + w > this.wide || y + h > this.high) return false;
    return !this.taken.some(([l, t, r, b]) => x < r && x + w > l && y < b && y + h > t);
  }
  put(text, longest, [x, y], away, look = "") {
    const words = svg("text", { text: longest, class: look });
    this.sheet.append(words);
    const { width: w, height: h } = words.getBBox();
    for (const [left, top] of [[x - w / 2, y + away], [x - w / 2, y - away - h], [x + away, y - h / 2], [x - away - w, y - h / 2], [x, y + away], [x - w, y + away], [x, y - away - h], [x - w, y - away - h]]) {
      if (!this.free(left, top, w, h)) continue;
      this.keep(left - 2, top, w + 4, h);
      words.setAttribute("x", left + w / 2);
      words.setAttribute("y", top + h * 0.78);
      words.setAttribute("text-anchor", "middle");
      set(words, text);
      return words;
    }
    words.remove();
    return null;
  }
}

function rails(way, sheet, labels) {
  const { track } = way;
  let from = 0;
  for (const [detector, length] of track.stretches) {
    const d = line(way.between(from, from + length)), rail = svg("path", { class: detector ? "rail" : "rail blind", d });
    const block = svg("path", { class: "block", d, visibility: "hidden" });
    const [x, y] = way.at(from);
    sheet.append(rail, block, svg("circle", { class: "joint", cx: x, cy: y, r: 4 }));
    const middle = way.at(from + length / 2);
    from += length;
    if (!detector) continue;
    const words = labels.put(detector, `${detector}: out of use`, middle, 10);
    hear(`det ${detector}`, (state) => {
      block.setAttribute("visibility", state === "occupied" ? "visible" : "hidden");
      rail.setAttribute("class", state === "unknown" || state === "out of use" ? "rail unknown" : "rail");
      if (words) set(words, `${detector}: ${STATES[state] ?? state}`);
    });
  }
}

function heads(way, sheet, labels) {
  const [x, y] = way.at(0), [onX, onY] = way.at(way.track.length_mm * 0.02), turn = (Math.atan2(onY - y, onX - x) * 180) / Math.PI;
  sheet.append(svg("path", { class: "joint", d: "M4 -7L16 0L4 7Z", transform: `translate(${x} ${y}) rotate(${turn})` }));
  labels.put(way.track.name, way.track.name, [x, y], 12, "name");
}

function marked(sheet, labels, [x, y], size, picture, name, longest) {
  for (const [key, value] of Object.entries({ x: x - size / 2, y: y - size / 2, width: size, height: size, class: "thing" })) picture.setAttribute(key, value);
  picture.append(svg("title", { text: name }));
  sheet.append(picture);
  return () => labels.put(name, longest, [x, y], size / 2 + 1);
}

function things(sheet, labels, spot, size) {
  const later = [];
  for (const [name, at] of Object.entries(feed.facts.plan.places)) {
    const [x, y] = spot(at), output = feed.facts.outputs.find((one) => one.name === name);
    const detector = feed.facts.detectors.some((one) => one.name === name);
    labels.keep(x - size / 2, y - size / 2, size, size);
    const [picture, show] = output ? glyph(output, feed.facts) : detector ? eye() : button();
    const label = marked(sheet, labels, [x, y], size, picture, name, output?.kind === "signal" ? `${name}: ${longest(output.states)}` : name);
    later.push(() => {
      const words = label();
      hear(`${output ? "out" : detector ? "det" : "button"} ${name}`, (value) => {
        show(value);
        if (words && output?.kind === "signal") set(words, `${name}: ${value[1]}`);
        picture.classList.toggle("lost", output !== undefined && !value[3]);
      });
    });
  }
  return later;
}

const longest = (words) => words.reduce((most, one) => (one.length > most.length ? one : most), "");
const drawn = (...parts) => svg("svg", { viewBox: "0 0 64 64", "aria-hidden": "true", focusable: "false" }, ...parts);

function eye() {
  const lid = svg("path", { class: "plain", d: "M6 32Q32 8 58 32Q32 56 6 32Z" }), pupil = svg("circle", { class: "seen", cx: 32, cy: 32, r: 9 });
  return [drawn(lid, pupil), (state) => {
    pupil.setAttribute("visibility", state === "occupied" ? "visible" : "hidden");
    lid.setAttribute("stroke-dasharray", state === "occupied" || state === "clear" ? "" : "5 7");
  }];
}

function button() {
  const cap = svg("rect", { class: "plain", x: 20, y: 18, width: 24, height: 16 });
  return [drawn(svg("path", { class: "plain", d: "M8 52V34h48v18Z" }), cap), (down) => cap.setAttribute("y", down ? 28 : 18)];
}

class Trains {
  constructor(ways, sheet) { this.ways = ways; this.sheet = sheet; this.shown = new Map(); this.trains = []; this.drawing = false; }
  take(trains) {
    this.trains = trains;
    for (const [number, parts] of this.shown) {
      if (!trains.some((one) => one.train === number)) { parts.forEach((part) => part.remove()); this.shown.delete(number); }
    }
    this.draw();
  }
  draw() {
    for (const train of this.trains) this.place(train);
    const goes = feed.live && this.sheet.isConnected && this.trains.some((train) => train.speed_um_s);
    if (goes && !this.drawing) { this.drawing = true; requestAnimationFrame(() => { this.drawing = false; this.draw(); }); }
  }
  place(train) {
    const way = this.ways.find((one) => one.track.name === train.track);
    if (!way) return;
    if (!this.shown.has(train.train)) {
      const parts = [svg("path", { class: "train-body" }), svg("circle", { class: "train", r: 7 }), svg("text", { class: "train-name", "text-anchor": "middle" })];
      this.shown.set(train.train, parts);
      this.sheet.append(...parts);
    }
    const [body, nose, name] = this.shown.get(train.train), run = (train.speed_um_s * (feed.nowUs() - train.at_us)) / SECOND;
    const spots = way.between((train.tail_um + run) / 1000, (train.front_um + run) / 1000), [x, y] = spots.at(-1);
    body.setAttribute("d", line(spots));
    nose.setAttribute("cx", x);
    nose.setAttribute("cy", y);
    name.setAttribute("x", Math.min(this.sheet.viewBox.baseVal.width - 34, Math.max(34, x)));
    name.setAttribute("y", y < 30 ? y + 26 : y - 13);
    set(name, `train ${train.train}${train.held ? " waits" : ""}`);
  }
}

function sheetOf(wide) {
  const { size, ways, roads } = feed.facts.plan, scale = (wide - 2 * EDGE) / size[0], high = Math.round(size[1] * scale + 2 * EDGE);
  const spot = ([x, y]) => [EDGE + x * scale, EDGE + y * scale];
  const sheet = svg("svg", { id: "layout-plan", viewBox: `0 0 ${wide} ${high}`, width: wide, height: high, role: "img",
    "aria-label": "The layout from above. What it shows stands in words under Detectors, Trains and Outputs." });
  const labels = new Labels(sheet, wide, high);
  return { sheet, draw() {
    for (const { ends, wide: mm } of roads) sheet.append(svg("path", { class: "road-way", d: line(ends.map(spot)), "stroke-width": Math.max(16, mm * scale) }));
    const found = Object.entries(ways).map(([name, spots]) => new Way(feed.facts.tracks.find((one) => one.name === name), spots.map(spot)));
    for (const way of found) for (let mm = 0; mm <= way.track.length_mm; mm += 12 / scale) {
      const [x, y] = way.at(mm);
      labels.keep(x - 6, y - 6, 12, 12);
    }
    const size = Math.min(46, Math.max(24, wide * 0.036));
    const later = things(sheet, labels, spot, size);
    for (const way of found) rails(way, sheet, labels);
    for (const picture of sheet.querySelectorAll(".thing")) sheet.append(picture); // above rails
    for (const way of found) heads(way, sheet, labels);
    for (const one of later) one();
    return new Trains(found, sheet);
  } };
}

function aside(home) {
  const names = feed.facts.plan.aside;
  if (!names.length) return;
  const list = el("ul", { class: "aside" });
  for (const name of names.slice(0, MOST_ASIDE)) {
    const output = feed.facts.outputs.find((one) => one.name === name), [picture, show] = output ? glyph(output, feed.facts) : eye();
    list.append(el("li", {}, picture, el("span", { text: name })));
    feed.on(`${output ? "out" : "det"} ${name}`, show);
  }
  const more = names.length - MOST_ASIDE;
  if (more > 0) list.append(el("li", { text: `and ${more} more, under Outputs` }));
  home.append(el("p", { class: "soft", text: "Without a place on the plan:" }), list);
}

// Draws the plan if the layout file gives places; whether it does.
export function plan(home) {
  if (!feed.facts.plan) return false;
  const holder = el("div", { class: "sideways", tabindex: 0, role: "group", "aria-label": "The plan" });
  home.append(holder);
  let width = 0, trains = null;
  feed.on("trains", (list) => trains?.take(list));
  feed.onLive(() => trains?.draw());
  const redraw = () => {
    const now = Math.max(NARROWEST, Math.floor(holder.clientWidth));
    if (now === width || holder.clientWidth < 50) return;
    width = now;
    for (const forget of unheard.splice(0)) forget();
    const { sheet, draw } = sheetOf(width);
    holder.replaceChildren(sheet);
    trains = draw();
    trains.take(feed.state.trains ?? []);
  };
  new ResizeObserver(redraw).observe(holder);
  redraw();
  aside(home);
  return true;
}
