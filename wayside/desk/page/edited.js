// Edited scene files: what was saved, whether it is fine, and what becomes of it.
import { at, el, mayPress, set } from "/page/dom.js";
import { feed } from "/page/feed.js";
import { ask } from "/page/orders.js";

const MOST_NAMED = 3;

function listed(names) {
  const known = names.length > MOST_NAMED ? [...names.slice(0, MOST_NAMED - 1), `${names.length - MOST_NAMED + 1} more`] : names;
  return known.length > 1 ? `${known.slice(0, -1).join(", ")} and ${known.at(-1)}` : known[0] ?? "";
}

const have = (waits) => `${listed(waits)} ${waits.length === 1 ? "has" : "have"}`;
const SAYS = {
  wrong: (names) => `${names} was saved, and something is wrong. The show goes on with what it has.`,
  restart: (names) => `${names} was saved, and nothing is wrong; but a running show cannot take it up.`,
  offered: (names, what) => `${names} was saved, and nothing is wrong: ${what}. The show goes on with what it has.`,
  "when idle": (names, what, waits) => `${names} was saved, and nothing is wrong: ${what}. It is swapped in when ${have(waits)} ended.`,
  now: (names, what, waits) => `${names} is swapped in when ${have(waits)} stopped: ${what}.`,
  left: (names, what) => `${names} was saved: ${what}. The show goes on with what it has, as somebody has asked.`,
};

// The keys that an offer has as it stands; `number` names the offer, so that no later one is meant by mistake.
function keys() {
  let number = "";
  const key = (how) => el("button", { type: "button", onclick: (event) => { if (mayPress(event)) ask({ do: "swap", how, offer: number }); } });
  const now = key("now"), idle = key("when idle"), never = key("never");
  set(idle, "Swap it in when idle");
  set(never, "Leave it");
  function update(stand, offer, waits) {
    number = offer;
    const open = ["offered", "left"].includes(stand);
    set(now, waits.length ? `Stop ${waits.length === 1 ? waits[0] : `${waits.length} scenes`} and swap it in` : "Swap it in now");
    now.hidden = !open && stand !== "when idle";
    idle.hidden = !open || !waits.length;
    never.hidden = !["offered", "when idle", "now"].includes(stand);
  }
  return { home: el("div", { class: "keys" }, now, idle, never), update };
}

export function edited(card, aloud) {
  const words = el("p"), banner = keys(), shown = el("div", {}, words, banner.home);
  const text = el("p"), kept = keys(), says = el("pre", { tabindex: 0, role: "group", "aria-label": "What the check says" });
  let told = "";
  shown.hidden = true;
  at("banners").append(shown);
  card.append(text, kept.home, says);
  feed.on("files", ([stand, names, said, offer, what, waits]) => {
    const sentence = SAYS[stand]?.(names, what, waits) ?? "";
    set(words, ["wrong", "restart"].includes(stand) ? `${sentence} See Scene files.` : sentence);
    set(text, sentence);
    set(says, said);
    says.hidden = !said;
    banner.update(stand, offer, waits);
    kept.update(stand, offer, waits);
    shown.hidden = !stand || stand === "left";
    card.hidden = !stand;
    kept.home.hidden = stand !== "left"; // else the banner has them
    if (sentence && !shown.hidden && told !== stand + names + offer) aloud(sentence);
    told = stand + names + offer;
  });
}
