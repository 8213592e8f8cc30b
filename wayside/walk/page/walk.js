// The page of a walk: the stop where it is, keys for what was seen, what is likely to be wrong, and a train's time.
import { at, el, mayPress, set, settle } from "/page/dom.js";
import { connect, feed } from "/page/feed.js";
import { ask, askAtOnce } from "/page/orders.js";

const aloud = (text) => set(at("aloud"), text);
const quietly = (order) => ask(order, true); // what it does is seen
// What is said is said of the stop that is shown: the walk may have gone on meanwhile, by another page or by itself.
const tell = (word) => quietly({ do: "say", word, stop: feed.state.stop.name ?? "" });
const key = (text, act, large) => el("button", { type: "button", text, class: large ? "large" : undefined, onclick: (event) => { if (mayPress(event)) act(); } });

function show(id, text) {
  at(id).hidden = !text;
  set(at(id), text ?? "");
}

// --- the stop where it is -------------------------------------------------------------------------------------------

let which = "";
function askWhich(word) {
  which = word;
  at("which").hidden = false;
  at("thing").value = "";
  at("thing").focus();
}

at("which").addEventListener("submit", (event) => {
  event.preventDefault();
  tell(`${which} ${at("thing").value.trim()}`).then((fine) => { if (fine) at("which").hidden = true; });
});
at("which-no").addEventListener("click", () => { at("which").hidden = true; });
at("stop").addEventListener("click", () => askAtOnce({ do: "stop" }));

const SEEN = [["No, nothing", "no"], ["Not sure", "not sure"], ["Again", "again"], ["Skip", "skip"], ["Back", "back"]];
const HEARD = [["Nothing comes, or it stays", "no"], ["Not sure", "not sure"], ["Again", "again"], ["Skip", "skip"], ["Back", "back"]];
const plain = (rows) => rows.map(([text, word]) => key(text, () => tell(word)));

const KEYS = {
  hands: () => [key("Hands are off: go on", () => tell("ready"), true)],
  asks: () => [key("Let it move", () => tell("go"), true), ...plain([["Skip", "skip"], ["Back", "back"]])],
  shows: (stop) => [
    key("Yes, it did that", () => tell("yes"), true),
    ...plain(SEEN.slice(0, 1)),
    key("Something else did", () => askWhich("other")),
    key("It did, and something else, too", () => askWhich("also")),
    key("The wrong way round", () => tell("wrong way")),
    ...(stop.fades ? [key("It only goes on and off", () => tell("no fade"))] : []),
    ...plain(SEEN.slice(1)),
  ],
  rolls: () => plain(HEARD),
  homing: () => [],
  done: () => plain([["Back", "back"]]),
  left: () => [],
};
const TITLES = { done: "That was the last stop", left: "The walk was left" };
const STATES = { occupied: "It is occupied, or pressed, just now.", clear: "It is clear just now.", "": "It has not been heard yet." };

let drawn = "";
function here() {
  const { phase, stop, says, waits } = feed.state;
  const going = phase === "asks" || phase === "shows" || phase === "rolls" || phase === "homing";
  const title = phase === "hands" ? "Hands off the track?" : TITLES[phase] ?? (stop.name ?? "");
  set(at("name"), title);
  show("place", going ? `Stop ${stop.at} of ${stop.of}` : "");
  show("where", going ? `${stop.kind}: ${stop.where}` : "");
  show("task", phase === "hands" ? feed.facts.hands : phase === "left" ? "Start it again in the terminal: it goes on where it was." : going ? stop.task : "");
  show("caution", phase === "asks" || phase === "rolls" ? stop.caution : "");
  show("waits", waits ? `Nothing is told yet. ${waits}` : "");
  const heard = phase === "rolls" ? STATES[stop.state] : "";
  show("now", phase === "homing" ? `${says}: wait.` : heard || (says ? `Now: ${says}.` : ""));
  const now = `${phase} ${stop.name}`;
  if (now === drawn) return;
  const stepped = drawn !== "";
  drawn = now;
  at("which").hidden = true;
  const focused = at("keys").contains(document.activeElement);
  at("keys").replaceChildren(...KEYS[phase](stop));
  if (stepped) settle(at("keys"));
  if (at("name").getBoundingClientRect().top < document.querySelector("header").getBoundingClientRect().bottom) at("here").scrollIntoView();
  if (focused) at("name").focus({ preventScroll: true }); // the key has gone, and a keyboard must not be lost with it
  aloud(`${title}. ${going ? stop.task : ""} ${phase === "asks" ? stop.caution : ""}`);
}

// --- the lists ------------------------------------------------------------------------------------------------------

function faults(found) {
  const list = el("ol", {}, ...found.map(([what, tries, stops]) => el("li", {},
    el("p", { text: what }),
    el("ul", {}, ...tries.map((way) => el("li", { text: `Try: ${way}` }))),
    el("span", { class: "soft", text: `Seen at: ${stops.join(", ")}` }))));
  at("faults").querySelector("div").replaceChildren(found.length ? list : el("p", { text: "None so far." }));
}

function stops(rows) {
  const current = feed.state.stop?.name;
  at("all").querySelector("ol").replaceChildren(...rows.map(([name, kind, where, seen, mine]) => el("li", { class: name === current ? "here" : undefined },
    el("button", { type: "button", "aria-disabled": mine ? undefined : "true", onclick: () => { if (mine) tell(`go to ${name}`); } },
      el("span", { class: "name", text: name }), el("span", { class: "state", text: seen || "open" }),
      el("span", { class: "soft", text: `${kind}: ${where}` })))));
}

// --- a train's time -------------------------------------------------------------------------------------------------

at("begin-time").addEventListener("submit", (event) => { event.preventDefault(); quietly({ do: "time", stretch: at("stretch").value }); });
at("press").addEventListener("click", () => quietly({ do: "press" }));
at("keep-time").addEventListener("click", () => ask({ do: "keep" }));
at("leave-time").addEventListener("click", () => quietly({ do: "leave" }));

function time(state) {
  at("watch").hidden = !state.of;
  at("begin-time").hidden = Boolean(state.of);
  set(at("watch-of"), state.of);
  set(at("watch-says"), state.says);
  at("press").hidden = state.took;
  set(at("press"), state.running ? `Nose reaches ${state.end}` : `Nose comes upon ${state.begin}`);
  at("keep-time").hidden = !state.took || state.kept;
  const word = state.fits === true ? "It fits" : state.fits === false ? "It does not fit" : "";
  at("verdict").replaceChildren(...(word ? [el("p", { class: "name", text: word })] : []), ...state.verdict.map((text) => el("p", { text })));
}

// --- the page as a whole --------------------------------------------------------------------------------------------

feed.begin = () => {
  set(at("layout"), `Walk round ${feed.facts.name}`);
  document.title = `Walk round ${feed.facts.name}`;
  at("things").replaceChildren(...feed.facts.outputs.map((name) => el("option", { value: name })));
  at("stretch").replaceChildren(...feed.facts.stretches.map((text) => el("option", { text })));
  at("timing").hidden = !feed.facts.stretches.length;
  for (const name of ["phase", "stop", "says", "waits"]) feed.on(name, here);
  feed.on("summary", (text) => set(at("summary"), text));
  feed.on("faults", faults);
  feed.on("stops", stops);
  feed.on("stop", () => stops(feed.state.stops));
  feed.on("time", time);
  feed.on("links", (lines) => at("links").querySelector("ul").replaceChildren(...lines.map((text) => el("li", { text }))));
};
feed.onLive((live) => {
  document.body.classList.toggle("stale", !live);
  set(at("connection-words"), live ? "connected" : feed.lastHeard ? "Connection lost: what stands here may be old" : "Not connected yet");
  if (feed.lastHeard && !live) aloud("Connection lost.");
});
connect();
