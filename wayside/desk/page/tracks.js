// The tracks that the layout file gives no place, laid out by themselves: a line each, those that cross one road one above the other, with their trains.
import { el, set, svg } from "/page/dom.js";
import { feed } from "/page/feed.js";
import { SECOND } from "/page/words.js";

const ROW = 112, RAIL = 62, EDGE = 6;
const OCCUPIED = { occupied: "occupied", unknown: "not known", "out of use": "out of use", clear: "clear" };

const unheard = []; // what the sheet that is drawn hears; forgotten with it
const hear = (name, show) => unheard.push(feed.on(name, show));

const unplaced = (facts) => facts.tracks.filter((one) => !(one.name in (facts.plan?.ways ?? {})));

// For each track: which way it is drawn, and where along it the common road lies.
function courses(facts) {
  const found = unplaced(facts).map((track) => ({ track, way: 1, road: null, crossing: null, roadLength: 0 }));
  for (const crossing of facts.crossings) {
    let n = 0;
    for (const one of found) {
      let from = 0;
      for (const [detector, length] of one.track.stretches) {
        if (one.crossing === null && crossing.on_the_road.includes(detector)) {
          Object.assign(one, { road: from + length / 2, crossing, roadLength: length, way: one.track.one_way && n++ % 2 ? -1 : 1 });
        }
        from += length;
      }
    }
  }
  return found;
}

function scaled(found, width) {
  const reach = (one, side) => (one.way === side ? one.track.length_mm - one.road : one.road);
  const crossed = found.filter((one) => one.road !== null);
  const left = Math.max(0, ...crossed.map((one) => reach(one, -1)));
  const right = Math.max(0, ...crossed.map((one) => reach(one, 1)));
  const longest = Math.max(left + right, ...found.map((one) => one.track.length_mm));
  const scale = (width - 2 * EDGE) / longest;
  for (const one of found) {
    one.x = one.road === null ? (mm) => EDGE + mm * scale : (mm) => EDGE + (left + one.way * (mm - one.road)) * scale;
  }
  return { roadX: EDGE + left * scale, scale };
}

function roads(found, sheet, roadX, scale, width) {
  const booms = [];
  for (const crossing of feed.facts.crossings) {
    const rows = found.map((one, n) => (one.crossing === crossing ? n : -1)).filter((n) => n >= 0);
    if (!rows.length) continue;
    const wide = Math.max(26, found[rows[0]].roadLength * scale);
    const top = rows[0] * ROW + 28, bottom = rows.at(-1) * ROW + RAIL + 34;
    sheet.append(svg("rect", { class: "road", x: roadX - wide / 2, y: top, width: wide, height: bottom - top }));
    crossing.barriers.forEach((name, n) => {
      const y = n % 2 ? bottom : top, side = n % 2 ? 1 : -1, x = roadX + (side * wide) / 2;
      const boom = svg("line", { class: "boom", x1: x, y1: y, x2: x - side * wide, y2: y });
      booms.push({ name, boom, side, x, y });
      sheet.append(boom);
    });
  }
  for (const { name, boom, side, x, y } of booms) {
    const output = feed.facts.outputs.find((one) => one.name === name);
    const reversed = output?.states[0] === "lowered";
    boom.style.transformOrigin = `${x}px ${y}px`;
    hear(`out ${name}`, ([share]) => { boom.style.transform = `rotate(${80 * side * (1 - (reversed ? 1 - share : share))}deg)`; });
  }
}

// A label's text, moved so far that all of it stays on the sheet.
function label(sheet, attributes) {
  const text = svg("text", attributes), x = attributes.x, width = sheet.viewBox.baseVal.width;
  sheet.append(text);
  return (words) => {
    set(text, words);
    text.setAttribute("x", x);
    const box = text.getBBox();
    if (box.x < 0) text.setAttribute("x", x - box.x);
    else if (box.x + box.width > width) text.setAttribute("x", x - (box.x + box.width - width));
  };
}

function stretches(one, top, sheet) {
  let from = 0, narrow = 0;
  for (const [detector, length] of one.track.stretches) {
    const a = one.x(from), b = one.x(from + length), x = Math.min(a, b), wide = Math.abs(b - a), y = top + RAIL;
    const rail = svg("line", { class: detector ? "rail" : "rail blind", x1: a, y1: y, x2: b, y2: y });
    sheet.append(rail, svg("line", { class: "tick", x1: a, y1: y - 7, x2: a, y2: y + 7 }));
    from += length;
    if (!detector) continue;
    const block = svg("rect", { class: "taken", x, y: y - 8, width: wide, height: 16, visibility: "hidden" });
    const slim = wide < 110;
    sheet.append(block);
    const name = label(sheet, { x: x + wide / 2, y: y + (slim ? 42 + 14 * (narrow++ % 2) : 25), "text-anchor": "middle" });
    hear(`det ${detector}`, (state) => {
      block.setAttribute("visibility", state === "occupied" ? "visible" : "hidden");
      rail.setAttribute("class", state === "unknown" || state === "out of use" ? "rail unknown" : "rail");
      name(`${detector}: ${OCCUPIED[state] ?? state}`);
    });
  }
}

function signals(one, top, sheet) {
  for (const [name, mm] of one.track.signals) {
    const x = one.x(mm), y = top + RAIL - 8, back = -one.way;
    const output = feed.facts.outputs.find((some) => some.name === name);
    const blade = svg("line", { class: "plain", x1: x, y1: y - 26, x2: x + back * 20, y2: y - 26 });
    sheet.append(svg("line", { class: "plain", x1: x, y1: y, x2: x, y2: y - 28 }), blade);
    const words = label(sheet, { x: x + back * 26, y: y - 22, "text-anchor": back < 0 ? "end" : "start" });
    hear(`out ${name}`, ([index, says]) => {
      blade.setAttribute("y2", output?.stops[Math.round(index)] ? y - 26 : y - 38);
      words(`${name}: ${says}`);
    });
  }
}

class Trains {
  constructor(found, sheet, width) {
    this.found = found; this.sheet = sheet; this.width = width; this.shown = new Map(); this.trains = []; this.drawing = false;
  }
  take(trains) {
    this.trains = trains;
    for (const [number, parts] of this.shown) {
      if (!trains.some((one) => one.train === number)) { parts.forEach((part) => part.remove()); this.shown.delete(number); }
    }
    this.draw();
  }
  draw() {
    for (const train of this.trains) this.place(train);
    const goes = feed.live && this.trains.some((train) => train.speed_um_s);
    if (goes && !this.drawing) { this.drawing = true; requestAnimationFrame(() => { this.drawing = false; this.draw(); }); }
  }
  place(train) {
    const row = this.found.findIndex((one) => one.track.name === train.track);
    if (row < 0) return;
    if (!this.shown.has(train.train)) {
      const parts = [svg("path", { class: "train" }), svg("text", { class: "train-name", "text-anchor": "middle" })];
      this.shown.set(train.train, parts);
      this.sheet.append(...parts);
    }
    const { track, x } = this.found[row], [body, name] = this.shown.get(train.train);
    const run = (train.speed_um_s * (feed.nowUs() - train.at_us)) / SECOND;
    const within = (um) => x(Math.min(track.length_mm, Math.max(0, (um + run) / 1000)));
    const front = within(train.front_um), tail = within(train.tail_um), y = row * ROW + RAIL, nose = Math.sign(front - tail) * 7;
    const nosed = Math.abs(front - tail) > 9 ? front - nose : front;
    body.setAttribute("d", `M${tail} ${y - 6}L${nosed} ${y - 6}L${front} ${y}L${nosed} ${y + 6}L${tail} ${y + 6}Z`);
    name.setAttribute("x", Math.min(this.width - 30, Math.max(30, (front + tail) / 2)));
    name.setAttribute("y", y - 12);
    set(name, `train ${train.train}${train.held ? " waits" : ""}`);
  }
}

// Draws them; whether there are any.
export function tracks(home) {
  if (!unplaced(feed.facts).length) return false;
  const holder = el("div");
  home.append(holder);
  let width = 0, trains = null;
  feed.on("trains", (list) => trains?.take(list));
  feed.onLive(() => trains?.draw());
  const redraw = () => {
    const now = Math.round(holder.clientWidth);
    if (now === width || now < 50) return;
    width = now;
    const found = courses(feed.facts), height = found.length * ROW + 8;
    const sheet = svg("svg", { id: "tracks", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": "The tracks. What they show stands in words under Detectors, Trains and Outputs." });
    for (const forget of unheard.splice(0)) forget();
    holder.replaceChildren(sheet);
    const { roadX, scale } = scaled(found, width);
    roads(found, sheet, roadX, scale, width);
    found.forEach((one, n) => {
      const top = n * ROW, heads = one.way > 0 ? `${one.track.name} →` : `← ${one.track.name}`;
      sheet.append(svg("text", { class: "name", x: one.way > 0 ? EDGE : width - EDGE, y: top + 16, "text-anchor": one.way > 0 ? "start" : "end", text: one.track.one_way ? heads : one.track.name }));
      stretches(one, top, sheet);
      signals(one, top, sheet);
    });
    trains = new Trains(found, sheet, width);
    trains.take(feed.state.trains ?? []);
  };
  new ResizeObserver(redraw).observe(holder);
  redraw();
  return true;
}
