// How outputs look: a lamp that glows, an arm that turns. Each has a shape for what it does, besides its light.
import { svg } from "/page/dom.js";

const still = matchMedia("(prefers-reduced-motion: reduce)");
const frame = (...children) => svg("svg", { viewBox: "0 0 64 64", "aria-hidden": "true", focusable: "false" }, ...children);

function lamp(output) {
  const glow = svg("circle", { class: `glow ${output.tint}`, cx: 32, cy: 32, r: 30, opacity: 0 });
  const lit = svg("circle", { class: `lit ${output.tint}`, cx: 32, cy: 32, r: 17, opacity: 0 });
  const rays = svg("path", { class: "plain", d: "M32 3v7M32 54v7M3 32h7M54 32h7M12 12l5 5M47 47l5 5M12 52l5-5M47 17l5-5" });
  const ring = svg("circle", { class: "plain", cx: 32, cy: 32, r: 17 });
  return [frame(glow, rays, lit, ring), ([level, words, , , light]) => {
    const shown = still.matches && /^(flashing|flickering)/.test(words) ? 0.6 : level; // nothing flashes for who asks so
    glow.setAttribute("opacity", 0.38 * shown);
    lit.setAttribute("opacity", shown ? 0.15 + 0.85 * shown : 0);
    rays.setAttribute("visibility", shown > 0.02 ? "visible" : "hidden");
    for (const part of [glow, lit]) part.style.fill = light || "";
  }];
}

function barrier(output) {
  const reversed = output.states[0] === "lowered";
  const arm = svg("path", { class: "plain arm", d: "M12 50h46" });
  const post = svg("path", { class: "plain", d: "M12 60v-14M4 60h16" });
  return [frame(post, arm), ([share]) => turn(arm, -85 * (1 - (reversed ? 1 - share : share)), 12, 50)];
}

function arm(output) {
  const stops = output.states.indexOf("danger");
  const blade = svg("path", { class: "plain arm", d: "M22 22h34v8h-34" });
  const post = svg("path", { class: "plain", d: "M20 60v-48M12 60h16" });
  return [frame(post, blade), ([share]) => turn(blade, -45 * (stops === 1 ? 1 - share : share), 22, 26)];
}

function turn(part, degrees, x, y) {
  part.style.transformOrigin = `${x}px ${y}px`;
  part.style.transform = `rotate(${degrees}deg)`;
}

function servo() {
  const pointer = svg("path", { class: "plain arm", d: "M32 46V12" });
  const base = svg("path", { class: "plain", d: "M14 58h36M32 46v12" });
  return [frame(base, svg("circle", { class: "plain", cx: 32, cy: 46, r: 4 }), pointer), ([share]) => turn(pointer, -60 + 120 * share, 32, 46)];
}

function signal(output) {
  const post = svg("path", { class: "plain", d: "M32 60V10M22 60h20" });
  const stops = svg("path", { class: "plain", d: "M14 18h36" });
  const clear = svg("path", { class: "plain", d: "M32 22L52 8" });
  return [frame(post, stops, clear), ([index]) => {
    const stop = output.stops[Math.round(index)] === true;
    stops.setAttribute("visibility", stop ? "visible" : "hidden");
    clear.setAttribute("visibility", stop ? "hidden" : "visible");
  }];
}

function sound() {
  const horn = svg("path", { class: "plain", d: "M8 26h10l14-12v36l-14-12h-10z" });
  const waves = svg("path", { class: "plain", d: "M40 24a12 12 0 0 1 0 16M47 17a22 22 0 0 1 0 30" });
  return [frame(horn, waves), ([level]) => waves.setAttribute("visibility", level > 0 ? "visible" : "hidden")];
}

function motor() {
  const ring = svg("circle", { class: "plain", cx: 32, cy: 32, r: 22 });
  const arrow = svg("path", { class: "plain arm", d: "M32 44V20M24 28l8-8 8 8" });
  return [frame(ring, arrow), ([level]) => {
    arrow.setAttribute("visibility", level ? "visible" : "hidden");
    turn(arrow, level < 0 ? -90 : 90, 32, 32);
  }];
}

function contact() {
  const poles = svg("path", { class: "plain", d: "M4 40h16M44 40h16" });
  const blade = svg("path", { class: "plain arm", d: "M20 40h24" });
  return [frame(poles, blade), ([level]) => turn(blade, level > 0 ? 0 : -35, 20, 40)];
}

function sky() {
  const sun = svg("circle", { class: "lit white", cx: 32, cy: 32, r: 15, opacity: 0 });
  return [frame(sun, svg("circle", { class: "plain", cx: 32, cy: 32, r: 15 }), svg("path", { class: "plain", d: "M4 58h56" })),
    ([lux]) => sun.setAttribute("opacity", Math.min(1, Math.max(0, Math.log10(Math.max(lux, 0.1)) / 4)))];
}

const BY_KIND = { lamp, signal, sound, motor, relay: contact, pulse: contact, daylight: sky };

// An output's picture, and how to show a value in it.
export function glyph(output, facts) {
  if (output.kind !== "servo") return (BY_KIND[output.kind] ?? lamp)(output);
  if (facts.crossings.some((one) => one.barriers.includes(output.name))) return barrier(output);
  return output.states.includes("danger") ? arm(output) : servo(output);
}
