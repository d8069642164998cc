// What is read aloud? The sentence when its words change, not when only a clock in it moved, at most once in 5 s;
// what is wrong now, at once and once.
import type { Sections } from "./shapes";

const EVERY_MS = 5000;
const RUNNING = /\d\d:\d\d:\d\d so far|\d+ h \d+ min|\d+ min( \d+ s)?|\d+ s\b/g;

export class Announcer {
  #words = "";
  #at = -Infinity;
  #told = new Set<string>();
  #timer: ReturnType<typeof setTimeout> | undefined;

  constructor(
    private readonly polite: HTMLElement,
    private readonly urgent: HTMLElement,
  ) {}

  look(sections: Sections): void {
    const now = sections.wrong.filter((row) => row.grade === "now" && row.is === "on");
    const fresh = now.filter((row) => !this.#told.has(row.id));
    this.#told = new Set(now.map((row) => row.id));
    if (fresh.length > 0) this.urgent.textContent = fresh.map((row) => `${row.say} ${row.remedy}`).join(" ");
    clearTimeout(this.#timer); // what waited to be said is not so any more, or is said below
    const words = sections.say.replace(RUNNING, "");
    if (words === this.#words) return;
    const wait = this.#at + EVERY_MS - performance.now();
    if (wait > 0) {
      this.#timer = setTimeout(() => this.look(sections), wait);
      return;
    }
    this.#words = words;
    this.#at = performance.now();
    this.polite.textContent = sections.say;
  }
}
