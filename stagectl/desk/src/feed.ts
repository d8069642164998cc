// How does the page follow the house? One WebSocket: a snapshot, then changes by revision, the newest value of each.
// It knows how far behind it is, and says when it is lost; nothing is ever kept to be sent later.
import type { Changes, Entry, Point, Pong, Sections, Snapshot } from "./shapes";

const PING_MS = 1000;
const STALE_MS = 3000; // unanswered so long, everything shown is old
const SLOW_MS = 150;
const SILENT_MS = 15_000; // longer than a slow phone takes for a first snapshot
const AGAIN_MS = [250, 500, 1000, 2000]; // until the next try, the last one from then on
const ENTRIES = 1000; // of the journal, kept here

export type Life = "opening" | "live" | "stale" | "lost";

export class Feed {
  life: Life = "opening";
  epoch = 0;
  rev = 0;
  sections: Sections | null = null;
  readonly points = new Map<string, Point>();
  entries: Entry[] = [];
  /** Daemon's wall clock minus ours, ms. */
  offset = 0;
  /** Wall time of the daemon, ms, when it was last heard. */
  heardAt = 0;
  /** Minutes that the hall's time of day is ahead of UTC. */
  zoneMin = -new Date().getTimezoneOffset();
  onChange: () => void = () => {};
  /** A socket was refused for its token. */
  onRefused: () => void = () => {};
  onEntries: (entries: readonly Entry[]) => void = () => {};
  onSnapshot: () => void = () => {};

  /** Devices whose points the present view shows; of others only sections and entries are told. */
  #sight: readonly string[] = [];
  #fresh = true;
  #started = false;
  #spokeAt = 0;
  #socket: WebSocket | null = null;
  #token = "";
  #tries = 0;
  #ping = 0;
  #waiting = new Map<number, Tick>();
  #tripMs = 0;
  #answered: Tick | null = null;
  #moment: { epoch: number; at: number; here: Tick } | null = null;
  #timer: ReturnType<typeof setTimeout> | undefined;

  /** Follow as whom the token names; again with another one after it was refused. */
  open(token: string): void {
    this.#token = token;
    this.#connect();
    if (this.#started) return;
    this.#started = true;
    setInterval(() => this.#beat(), PING_MS);
    addEventListener("online", () => this.#hurry());
    document.addEventListener("visibilitychange", () => document.hidden || this.#beat());
  }

  /** Turn to the points of these devices; a snapshot of them comes first. */
  see(devices: readonly string[]): void {
    if (devices.join() === this.#sight.join()) return;
    this.#sight = devices;
    if (this.#socket?.readyState === WebSocket.OPEN) this.#socket.send(JSON.stringify({ see: devices }));
  }

  point(device: string, name: string): Point | undefined {
    return this.points.get(`${device}/${name}`);
  }

  /** Every point of a device, by name. */
  of(device: string): Point[] {
    return [...this.points.values()].filter((point) => point.device === device);
  }

  /** Milliseconds behind: half the last round trip, or the age of a question that has no answer yet. */
  behindMs(): number {
    const oldest = Math.max(0, ...[...this.#waiting.values()].map(ageMs));
    return Math.max(this.#tripMs / 2, oldest - this.#tripMs);
  }

  /** The line at the top right. */
  lag(): string {
    if (this.life === "opening") return "page is opening";
    if (this.life !== "live") return `page was last live ${Math.round(this.agoMs() / 1000)} s ago`;
    const ms = Math.max(1, Math.round(this.behindMs()));
    return ms < SLOW_MS ? `page is ${ms} ms behind` : `slow: ${ms} ms behind`;
  }

  get slow(): boolean {
    return this.life === "live" && this.behindMs() >= SLOW_MS;
  }

  agoMs(): number {
    return this.#answered === null ? Infinity : ageMs(this.#answered);
  }

  /** Wall time of the daemon now, ms; when it was last heard if this page is not live: no clock runs on alone. */
  now(): number {
    return this.life === "live" ? Date.now() + this.offset : this.heardAt;
  }

  /** What an act says of when this page last saw the daemon; null: it must not be sent. */
  seen(): string | null {
    this.look();
    if (this.life !== "live" || this.#moment === null) return null;
    return `${this.#moment.epoch}-${this.#moment.at + ageMs(this.#moment.here) / 1000}`;
  }

  /** Judge by the clocks whether what is shown is still live. A computer that slept finds out here. */
  look(): void {
    if (this.life === "live" && this.agoMs() > STALE_MS) this.#becomes("stale");
  }

  #becomes(life: Life): void {
    if (life === this.life) return;
    this.life = life;
    this.onChange();
  }

  #connect(): void {
    clearTimeout(this.#timer);
    const sight = this.#sight.slice(0, 64).join() || "takes";
    const address = `${location.origin.replace(/^http/, "ws")}/api/v1/live?points=${sight}`;
    this.#fresh = true;
    this.#spokeAt = performance.now();
    const socket = (this.#socket = new WebSocket(address, "stagectl.v1"));
    socket.onopen = () => {
      if (this.#token) socket.send(JSON.stringify({ token: this.#token }));
      this.#waiting.clear();
      this.#ask();
    };
    socket.onmessage = (event: MessageEvent<string>) => {
      if (socket === this.#socket) this.#hear(JSON.parse(event.data) as Snapshot | Changes | Pong);
    };
    socket.onclose = (event) => {
      if (socket !== this.#socket) return;
      this.#socket = null;
      if (this.sections !== null) this.#becomes("lost");
      if (event.code === 4401) {
        this.onRefused(); // with this token there is no other try
        return;
      }
      const wait = AGAIN_MS[Math.min(this.#tries++, AGAIN_MS.length - 1)] ?? 2000;
      this.#timer = setTimeout(() => this.#connect(), wait * (0.75 + Math.random() / 2));
    };
  }

  #hurry(): void {
    if (this.#socket === null && this.sections !== null) this.#connect();
  }

  #hear(told: Snapshot | Changes | Pong): void {
    this.#spokeAt = performance.now();
    if ("pong" in told) {
      this.#ponged(told);
      return;
    }
    if (told.is === "snapshot") {
      this.#tries = 0;
      this.points.clear();
      this.sections = told.desk;
      if (this.#fresh) this.onSnapshot();
      this.#fresh = false;
    } else if (told.desk !== undefined && this.sections !== null) {
      this.sections = { ...this.sections, ...told.desk };
    }
    this.epoch = told.epoch;
    this.rev = told.rev;
    for (const point of told.points) this.points.set(`${point.device}/${point.name}`, point);
    if (told.is === "changes" && told.entries !== undefined) {
      this.keep(told.entries);
      this.onEntries(told.entries);
    }
    this.onChange();
  }

  /** Take journal entries in, oldest first, each once. */
  keep(entries: readonly Entry[]): void {
    const known = new Set(this.entries.map((entry) => entry.n));
    const fresh = entries.filter((entry) => !known.has(entry.n));
    if (fresh.length === 0) return;
    this.entries = [...this.entries, ...fresh].sort((a, b) => a.n - b.n).slice(-ENTRIES);
  }

  #ponged(told: Pong): void {
    const sent = this.#waiting.get(told.pong);
    if (sent === undefined) return;
    for (const number of this.#waiting.keys()) if (number <= told.pong) this.#waiting.delete(number);
    this.#tripMs = ageMs(sent);
    // An answer that was long on its way proves only that the daemon lived when it was sent.
    this.#answered = sent;
    const wall = Date.parse(told.wall);
    this.heardAt = wall;
    this.zoneMin = told.zone_min;
    this.offset = wall + this.#tripMs / 2 - Date.now();
    this.#moment = { epoch: this.epoch, at: told.at, here: tick() };
    if (this.sections !== null) this.#becomes(this.#tripMs > STALE_MS ? "stale" : "live");
    this.onChange();
  }

  #beat(): void {
    this.look();
    if (this.#waiting.size < 5) this.#ask();
    if (this.#socket?.readyState === WebSocket.OPEN && performance.now() - this.#spokeAt > SILENT_MS) {
      this.#socket.close(); // it stands still; a fresh one may not
    }
    this.onChange();
  }

  #ask(): void {
    if (this.#socket?.readyState !== WebSocket.OPEN) return;
    const number = ++this.#ping;
    this.#waiting.set(number, tick());
    this.#socket.send(JSON.stringify({ ping: number }));
  }
}

/** A moment by both clocks: one stands still while a computer sleeps, the other can be set. */
interface Tick {
  steady: number;
  wall: number;
}

function tick(): Tick {
  return { steady: performance.now(), wall: Date.now() };
}

/** Milliseconds since, by whichever clock says more. */
function ageMs(since: Tick): number {
  return Math.max(performance.now() - since.steady, Date.now() - since.wall);
}
