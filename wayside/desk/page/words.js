// Times and amounts in words.
export const SECOND = 1_000_000;
const DAY = 86_400;

export function timeOfDay(second) {
  const at = ((Math.floor(second) % DAY) + DAY) % DAY;
  const two = (n) => String(n).padStart(2, "0");
  return `${two(Math.floor(at / 3600))}:${two(Math.floor(at / 60) % 60)}:${two(at % 60)}`;
}

export function length(seconds) {
  const s = Math.max(0, Math.round(seconds));
  if (s < 60) return `${s} s`;
  const minutes = Math.floor(s / 60);
  if (minutes < 60) return minutes < 10 ? `${minutes} min ${s % 60} s` : `${minutes} min`;
  return `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

export const untilNext = (second, now) => (((second - now) % DAY) + DAY) % DAY;
