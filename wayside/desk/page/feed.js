// What the show says: the state, name by name, and whether it is still being said.
import { SECOND } from "/page/words.js";

const SILENT_MS = 6_500; // three signs of life missed
const AGAIN_MS = 2_000;
const HIDDEN_MS = 5_000; // so long a page may be out of sight before it lets go
const hearers = new Map();
const liveHearers = [];
let heardAt = -Infinity;
let base = { now: 0, at: 0 };
let source = null;
let released = false;

export const feed = {
  live: false, facts: null, state: {}, page: "", show: "", lastHeard: null,
  begin: () => {}, events: () => {},
  nowUs: () => base.now + (feed.live ? (performance.now() - base.at) * 1000 : 0),
  on(name, hear) {
    if (!hearers.has(name)) hearers.set(name, []);
    hearers.get(name).push(hear);
    if (name in feed.state) hear(feed.state[name]);
    return () => hearers.set(name, hearers.get(name).filter((one) => one !== hear));
  },
  onLive(hear) { liveHearers.push(hear); hear(feed.live); },
  layoutSecond() {
    const [clockUs, atUs, running, ratio] = feed.state.clock ?? [0, 0, false, 1];
    return (clockUs + (running ? (feed.nowUs() - atUs) * ratio : 0)) / SECOND;
  },
  hallSecond: () => (feed.facts?.hall_s ?? 0) + feed.nowUs() / SECOND,
};

function heard(now) {
  heardAt = performance.now();
  feed.lastHeard = new Date();
  if (now !== undefined) base = { now, at: heardAt };
}

function setLive(live) {
  if (feed.live === live) return;
  feed.live = live;
  for (const hear of liveHearers) hear(live);
}

function take(message) {
  heard(message.now);
  for (const [name, value] of Object.entries(message.set)) {
    feed.state[name] = value;
    for (const hear of hearers.get(name) ?? []) hear(value);
  }
  feed.events(message.events);
}

function whole(message) {
  if (feed.show && feed.show !== message.show) { location.reload(); return; } // another show: another layout, perhaps
  const first = !feed.show;
  feed.show = message.show;
  if (first) { feed.facts = message.facts; feed.state = message.set; feed.begin(message); }
  take(message);
  setLive(true);
}

async function lost() {
  setLive(false);
  if (released || source?.readyState !== EventSource.CLOSED) return; // the browser tries again by itself
  setTimeout(connect, AGAIN_MS);
  try {
    const answer = await fetch("/page/feed.js", { cache: "no-store" });
    if (answer.status === 401) location.reload(); // the session has expired: the form for the PIN comes
  } catch { /* the show is not there */ }
}

export function connect() {
  if (released) return;
  source?.close();
  source = new EventSource("/events");
  source.addEventListener("page", (event) => { feed.page = JSON.parse(event.data); heard(); });
  source.addEventListener("whole", (event) => whole(JSON.parse(event.data)));
  source.addEventListener("change", (event) => take(JSON.parse(event.data)));
  source.addEventListener("alive", (event) => heard(Number(event.data)));
  source.onerror = lost;
}

// Gives the stream up, so that something else finds a connection; all shown is then old, and looks so.
export function release() {
  released = true;
  source?.close();
  setLive(false);
}

export function resume() {
  if (!released || document.hidden) return;
  released = false;
  connect();
}

// A page that nobody sees holds no connection: a phone that opens a new one with each look at the QR code has many.
let leaving = 0;
document.addEventListener("visibilitychange", () => {
  clearTimeout(leaving);
  if (document.hidden) leaving = setTimeout(release, HIDDEN_MS);
  else resume();
});

setInterval(() => {
  if (!feed.live || performance.now() - heardAt < SILENT_MS) return;
  setLive(false);
  connect();
}, 1_000);
