// The page as a whole: the bar, the banners, keys, and what is said aloud.
import { able, at, el, mayPress, set, settle } from "/page/dom.js";
import { edited } from "/page/edited.js";
import { connect, feed } from "/page/feed.js";
import * as lists from "/page/lists.js";
import { ask, askAtOnce, say } from "/page/orders.js";
import { outputs } from "/page/outputs.js";
import { plan } from "/page/plan.js";
import * as side from "/page/side.js";
import { steady } from "/page/steady.js";
import { tracks } from "/page/tracks.js";
import { timeOfDay } from "/page/words.js";

const TWICE_MS = 1_000, MOST_ALONE = 3;
const ticks = [];
let showEvents = () => {};
const aloud = (text) => set(at("aloud"), text);
const allStop = () => askAtOnce({ do: "all stop" });

at("all-stop").addEventListener("click", allStop);
at("dark").addEventListener("click", () => ask({ do: feed.state.dark ? "lights" : "blackout" }));
at("hush").addEventListener("click", () => ask({ do: feed.state.hushed ? "sound" : "mute" }));

let escaped = -Infinity;
addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || event.repeat) return;
  const twice = event.timeStamp - escaped < TWICE_MS;
  escaped = twice ? -Infinity : event.timeStamp;
  if (twice) allStop(); else say("Escape once more is all stop.");
});

// --- what holds now -------------------------------------------------------------------------------------------------

const banners = new Map();
function banner(name, shown, text, key, order, grave = false) {
  let one = banners.get(name);
  if (!one) {
    const words = el("p");
    const button = key ? el("button", { type: "button", text: key, onclick: (event) => { if (mayPress(event)) ask(one.order); } }) : null;
    one = { home: el("div", { class: grave ? "grave" : "" }, words, ...(button ? [button] : [])), words, shown: false };
    one.home.hidden = true;
    banners.set(name, one);
    at("banners").append(one.home);
  }
  one.order = order;
  set(one.words, text);
  if (shown && !one.shown) {
    aloud(text);
    if (grave) at("banners").prepend(one.home); else at("banners").append(one.home); // keys that are there stay where they are
  }
  one.shown = shown;
  one.home.hidden = !shown;
}

// The header stays in sight, the banners do not: it says what holds, and leads to them.
function summed() {
  settle(at("banners"));
  const shown = [...at("banners").children].filter((one) => !one.hidden), link = at("holding").firstChild;
  at("holding").hidden = !shown.length;
  const more = feed.state.stopped ? shown.length - 1 : shown.length;
  const others = more ? `${more} ${more === 1 ? "notice" : "notices"}` : "";
  link.className = feed.state.stopped ? "grave" : "";
  set(link, [feed.state.stopped ? "All is stopped" : "", others].filter((one) => one).join("; "));
}

const PHASES = {
  waiting: "The show has not begun: it waits for its links. Guarded outputs keep their safe state.",
  ending: "The show is ending: scenes are stopped, then guarded outputs are made safe.",
  over: "The show is over.",
};

function holds() {
  new MutationObserver(summed).observe(at("banners"), { childList: true, subtree: true, attributeFilter: ["hidden"] });
  feed.on("stopped", (stopped) => {
    banner("stopped", stopped, "All is stopped. Guarded outputs are safe or on their way there; nothing begins until you go on.", "Go on", { do: "go on" }, true);
  });
  feed.on("show", (phase) => banner("show", phase in PHASES, PHASES[phase] ?? "", "", null, phase !== "waiting"));
  feed.on("dark", (dark) => {
    banner("dark", dark, "Blackout: every lamp is out but guarded ones.", "Lights back", { do: "lights" });
    set(at("dark"), dark ? "Lights back" : "Blackout");
  });
  feed.on("hushed", (hushed) => {
    banner("hushed", hushed, "Mute: every sound is still but guarded ones.", "Sound back", { do: "sound" });
    set(at("hush"), hushed ? "Sound back" : "Mute");
  });
  feed.on("waits", (names) => banner("waits", names.length > 0, `Nothing is known of ${names.join(", ")}: that counts as occupied, and a crossing stays closed to the road.`));
  for (const { name } of feed.facts.crossings) {
    feed.on(`crossing ${name}`, (worked) => banner(`crossing ${name}`, worked, `${name} is worked by hand. Its signals are at danger until you clear them.`, "Give back", { do: "give back", crossing: name }));
  }
  for (const { name } of feed.facts.detectors) {
    feed.on(`det ${name}`, (state) => banner(`det ${name}`, state === "out of use", `${name} is out of use.`, "Back in use", { do: "put back", detector: name }));
  }
  for (const { name } of feed.facts.outputs) {
    const crossing = feed.facts.crossings.some((one) => [...one.barriers, ...one.signals].includes(name));
    if (crossing || feed.facts.outputs.some((one) => one.parts.includes(name))) continue; // its own banner says so
    feed.on(`out ${name}`, ([, , holder]) => { if ((holder === "by hand") !== held.has(name)) inHand(name, holder === "by hand"); });
  }
  for (const { name } of feed.facts.rules) {
    let told = null;
    feed.on(`rule ${name}`, ([times]) => {
      if (told !== null && times > told) aloud(`rule ${name} was broken`);
      told = times;
    });
  }
}

const held = new Set();
// One banner each for a few outputs in a hand; of many a single one, so that the page below stays in sight.
function inHand(name, taken) {
  const was = held.size <= MOST_ALONE;
  if (taken) held.add(name); else held.delete(name);
  const alone = held.size <= MOST_ALONE, names = [...held];
  for (const one of was === alone ? [name] : [name, ...names]) {
    banner(`out ${one}`, alone && held.has(one), `${one} is held by hand.`, "Let go", { do: "let go", output: one });
  }
  banner("held", !alone, `${names.length} outputs are held by hand: ${names.slice(0, MOST_ALONE).join(", ")} and ${names.length - MOST_ALONE} more. Each is let go under Outputs.`);
}

// --- the connection -------------------------------------------------------------------------------------------------

function connection(live) {
  document.body.classList.toggle("stale", !live);
  set(at("connection-mark"), live ? "●" : "✕");
  const was = feed.lastHeard, time = was ? timeOfDay(was.getHours() * 3600 + was.getMinutes() * 60 + was.getSeconds()) : "";
  set(at("connection-words"), live ? `connected${feed.facts?.dry_run ? "; a dry run: no hardware" : ""}`
    : was ? `Not connected. All below is as it was at ${time} by this device. Trying again.` : "Not connected yet. Trying.");
  if (was) aloud(live ? "Connected." : "Not connected. What the page shows is old.");
}

function parts() {
  at("parts").open = matchMedia("(min-width: 60rem)").matches;
  for (const section of document.querySelectorAll("main section:not([hidden])")) {
    const heading = section.querySelector("h2");
    heading.id = `${section.id}-heading`;
    section.setAttribute("aria-labelledby", heading.id);
    at("parts").lastElementChild.append(el("a", { href: `#${section.id}`, text: heading.textContent }));
  }
}

feed.begin = () => {
  const { layout } = feed.facts;
  set(at("layout"), layout || "Desk");
  document.title = `${layout || "Layout"}: desk`;
  ticks.push(lists.now(at("now")), side.clock(at("clock")));
  const planned = plan(at("plan"));
  if (!tracks(at("plan")) && !planned) at("plan").hidden = true;
  lists.scenes(at("scenes"));
  lists.trains(at("trains"));
  lists.detectors(at("detectors"));
  lists.buttons(at("buttons"));
  lists.crossings(at("crossings"));
  side.mark(at("mark"));
  side.links(at("links"));
  side.rules(at("rules"));
  outputs(at("outputs"));
  showEvents = side.events(at("events"));
  edited(at("files"), aloud);
  holds();
  parts();
  tick();
  steady();
};
feed.events = (fresh) => showEvents(fresh);
function tick() { for (const one of ticks) one(); }

side.page(at("page"));
able(at("all-stop"), true);
feed.onLive(connection);
setInterval(() => { if (feed.live) tick(); }, 1_000);
connect();
