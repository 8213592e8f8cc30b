// Asks the show to do something, and says what came of it.
import { at, set } from "/page/dom.js";
import { feed, release, resume } from "/page/feed.js";

const WITHIN_MS = 6_000;
const SAID_MS = 8_000;
const OVERTAKES_MS = 800;
let count = 0;
let queue = Promise.resolve();
let clearing = 0;

export function say(text, refused = false) {
  const said = at("said");
  set(said, text);
  said.className = refused ? "refused" : "";
  clearTimeout(clearing);
  clearing = setTimeout(() => set(said, ""), SAID_MS);
}

async function send(order, quiet = false) {
  const headers = { "Content-Type": "application/json", "X-Desk-Page": feed.page, "X-Desk-Order": String(++count) };
  const words = Object.values(order).filter((word) => word).join(" ");
  try {
    const answer = await fetch("/do", {
      method: "POST", headers, body: JSON.stringify(order), credentials: "same-origin", signal: AbortSignal.timeout(WITHIN_MS),
    });
    const { fine, says } = await answer.json();
    if (says.length || !fine || !quiet) say(says.length ? says.join(" ") : `Done: ${words}`, !fine);
    else say("");
    return fine;
  } catch {
    say(`“${words}” did not reach the show. Use the terminal, or a wired button.`, true);
    return false;
  }
}

// The stop of everything: it overtakes all others, and is tried whatever the connection is. A browser has few connections
// to one address, and each open page holds one for its stream; if that is what it waits for, this page gives its own away.
export async function askAtOnce(order) {
  const late = setTimeout(release, OVERTAKES_MS);
  const fine = await send(order);
  clearTimeout(late);
  resume();
  return fine;
}

// `quiet`: where what it does is seen at once, nothing more is said of it.
export function ask(order, quiet = false) {
  if (!feed.live) {
    say("Not connected: nothing was told.", true);
    return Promise.resolve(false);
  }
  queue = queue.then(() => send(order, quiet)); // in the order asked
  return queue;
}
