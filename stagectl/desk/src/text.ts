// How are times, durations and values written? As the daemon writes them in its sentences.
import type { Point, Take, Value } from "./shapes";

const two = (number: number): string => String(Math.floor(number)).padStart(2, "0");

/** A time of day of the hall: "15:04:12"; `zoneMin` minutes ahead of UTC. */
export function timeOfDay(at: string | number, zoneMin: number): string {
  const date = new Date((typeof at === "number" ? at : Date.parse(at)) + zoneMin * 60_000);
  return `${two(date.getUTCHours())}:${two(date.getUTCMinutes())}:${two(date.getUTCSeconds())}`;
}

/** A day of the hall: "2026-11-28". */
export function dayOf(at: number, zoneMin: number): string {
  return new Date(at + zoneMin * 60_000).toISOString().slice(0, 10);
}

/** A duration in a column: "00:12:40". */
export function clock(seconds: number): string {
  const whole = Math.max(0, Math.floor(seconds));
  return `${two(whole / 3600)}:${two((whole % 3600) / 60)}:${two(whole % 60)}`;
}

/** A duration in a sentence: "6 s", "12 min 40 s", "2 h 14 min". */
export function spell(seconds: number): string {
  const whole = Math.max(0, Math.floor(seconds));
  if (whole < 60) return bound(`${whole} s`);
  if (whole < 3600) return bound(whole % 60 ? `${Math.floor(whole / 60)} min ${whole % 60} s` : `${whole / 60} min`);
  return bound(`${Math.floor(whole / 3600)} h ${Math.floor((whole % 3600) / 60)} min`);
}

/** Typeset: a number keeps to its unit, a short name to its number; a minus is one. */
export function bound(text: string): string {
  return text
    .replace(/(^|\s)-(?=\d)/g, "$1\u2212")
    .replace(/(\d) (s|min|h|ms|dB|GB|frames?|takes?|of)\b/g, "$1\u00a0$2")
    .replace(/\b([A-Z][a-z]{2,4}) (\d+)\b/g, "$1\u00a0$2");
}

/** A value with its unit; a real minus sign, words for yes and no. */
export function value(point: Point): string {
  return point.value === null ? "not known" : plain(point.value, point.unit);
}

export function plain(found: Value, unit = ""): string {
  if (found === null) return "not known";
  if (typeof found === "boolean") return found ? "yes" : "no";
  if (typeof found !== "number") return found;
  if (unit === "bytes") return bound(`${(found / 1e9).toFixed(1)} GB`);
  if (unit === "s") return spell(found);
  const told = Number.isInteger(found) && unit !== "dB" ? String(found) : found.toFixed(1);
  return (unit ? bound(`${told} ${unit}`) : told).replace(/^-/, "\u2212").replace(" ", "\u00a0");
}

/** Seconds a take ran, or runs until `now`, ms. */
export function ranS(take: Take, now: number): number {
  return ((take.closed === null ? now : Date.parse(take.closed)) - Date.parse(take.opened)) / 1000;
}

/** Frames a second by the name of a format such as "1080p25"; 25 if it says none. */
export function perSecond(format: string): number {
  const found = /[pi](\d+(?:\.\d+)?)$/.exec(format);
  return found?.[1] ? Math.round(Number(found[1])) : 25;
}

/** A label as frames since midnight, labels that drop-frame leaves out counted; null: none. */
export function frames(label: string, rate: number): number | null {
  const parts = /^(\d\d):(\d\d):(\d\d)[:;](\d\d)$/.exec(label);
  if (!parts) return null;
  const [h, m, s, f] = parts.slice(1).map(Number) as [number, number, number, number];
  return ((h * 60 + m) * 60 + s) * rate + f;
}
