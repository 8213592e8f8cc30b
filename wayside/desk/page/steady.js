// Keeps what is under a thumb where it is while something further up grows or goes, where the browser does not do that itself.
const first = (path) => document.querySelector(path);

// What grows by itself, how much room it takes, and where that begins. (A header that sticks has no place of its own.)
const ABOVE = [
  [() => first("header"), () => first("main").offsetTop, () => 0],
  [() => first("#banners"), () => first("main nav").offsetTop - first("#banners").offsetTop, () => first("#banners").offsetTop],
  [() => first(".top"), () => first(".cards").offsetTop - first(".top").offsetTop, () => first(".top").offsetTop],
];

export function steady() {
  if (CSS.supports("overflow-anchor", "auto")) return;
  for (const [grows, room, begins] of ABOVE) {
    let was = room();
    new ResizeObserver(() => {
      const now = room(), grown = now - was;
      was = now;
      if (grown && begins() < scrollY) scrollBy(0, grown); // else all of it is in sight, and is to be seen
    }).observe(grows());
  }
}
