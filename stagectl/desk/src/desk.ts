// What does this page hold beside what the house says? Which view, which question is open, what was asked and answered.
import { Asks, RefusedError } from "./asks";
import { Feed } from "./feed";
import type { Device, Entry, Me, Site, Take } from "./shapes";

export const VIEWS = ["sheet", "lineup", "setups", "paths", "sound", "copyoff", "kit", "journal", "wall", "card"] as const;
export type View = (typeof VIEWS)[number];

/** The open question of how a take ends. `pressAt`: until when its end can't be pressed, ms. */
export interface Question {
  take: number;
  rolling: string[];
  changed: string;
  pressAt: number;
}

export interface Said {
  text: string;
  bad: boolean;
}

const HOLD_MS = 700; // a question that was rewritten can't be pressed so long
const TAKES = 500;
const TAKES_FIRST = 40; // read at first: a phone on a slow line waits for them
const ENTRIES_FIRST = 100;
const RENEW_MS = 1500; // what a view reads for itself is at most so old

export class Desk {
  readonly feed = new Feed();
  readonly asks = new Asks(this.feed);
  me: Me | null = null;
  /** Why the form of a name and a password is shown; null: it is not. */
  login: string | null = null;
  site: Site | null = null;
  devices: Device[] = [];
  takes: Take[] = [];
  view: View = "sheet";
  query = new URLSearchParams();
  /** Acts under way, and the place each answers to. */
  readonly #asked = new Map<string, string>();
  /** What the last act of each place was answered. */
  readonly said = new Map<string, Said>();
  question: Question | null = null;
  /** The small form that is open in the writing line. */
  form: "note" | "name" | null = null;
  /** The destination whose source is being chosen. */
  choosing: string | null = null;
  /** What each destination showed before this page changed it. */
  readonly before = new Map<string, { was: string; now: string }>();
  find = "";
  /** There are takes before those that were read. */
  older = false;
  /** More than the worst three rows are shown. */
  allWrong = false;
  /** The word that ends somebody else's take, and what the daemon said of it. */
  confirm: { take: number; word: string; say: string } | null = null;
  contentsOpen = false;
  helpOpen = false;
  draw: () => void = () => {};

  #opened: string | null = null; // the token that the feed was opened with
  readonly #wanted = new Set<string>();
  readonly #read = new Map<string, unknown>();
  readonly #reading = new Set<string>();
  #renewed = 0;
  #stale = new Set<number>();
  #fetching = false;

  get live(): boolean {
    return this.feed.life === "live";
  }

  async start(): Promise<void> {
    this.route();
    addEventListener("popstate", () => (this.route(), this.draw()));
    this.feed.onChange = () => (this.#look(), this.draw());
    this.feed.onSnapshot = () => void this.#everything();
    this.feed.onEntries = (entries) => this.#heard(entries);
    this.feed.onRefused = () => this.#out("Your time here is over. Come in again.");
    this.asks.token = sessionStorage.getItem("stagectl-token") ?? "";
    await this.#enter();
  }

  async come(name: string, password: string): Promise<void> {
    try {
      this.asks.token = await this.asks.login(name, password);
      sessionStorage.setItem("stagectl-token", this.asks.token);
      this.login = null;
      await this.#enter();
    } catch (slip) {
      this.login = slip instanceof Error ? slip.message : String(slip);
    }
    this.draw();
  }

  async #enter(): Promise<void> {
    const open = document.querySelector("meta[name=stagectl-asks-nobody]") !== null;
    if (open) this.#follow(); // who it is follows at its own pace
    try {
      this.me = await this.asks.get<Me>("me");
      if (!this.me.sees) throw new RefusedError("", "sees", {});
      this.#follow();
    } catch (slip) {
      if (slip instanceof RefusedError && slip.code === "lost") setTimeout(() => void this.#enter(), 1000);
      else this.login = "";
      this.draw();
    }
  }

  #follow(): void {
    if (this.#opened === this.asks.token) return;
    this.#opened = this.asks.token;
    this.feed.open(this.asks.token);
  }

  #out(why: string): void {
    sessionStorage.removeItem("stagectl-token");
    this.asks.token = "";
    this.#opened = null;
    this.login = why;
    this.draw();
  }

  // -- where ----------------------------------------------------------------------------------------------------

  route(): void {
    const word = location.pathname.replaceAll("/", "") || "sheet";
    this.view = VIEWS.find((view) => view === word) ?? "sheet";
    this.query = new URLSearchParams(location.search);
    this.find = this.query.get("find") ?? "";
  }

  go(view: View, query: Record<string, string> = {}): void {
    const text = new URLSearchParams(query).toString();
    history.pushState(null, "", `${address(view)}${text ? `?${text}` : ""}`);
    this.contentsOpen = false;
    this.route();
    this.draw();
  }

  /** Change what the address says of this view, without a step for Back. */
  filter(name: string, value: string): void {
    const query = new URLSearchParams(location.search);
    if (value) query.set(name, value);
    else query.delete(name);
    const text = query.toString();
    history.replaceState(null, "", `${location.pathname}${text ? `?${text}` : ""}`);
    this.route();
    this.draw();
  }

  /** Devices whose points the present view shows. */
  sight(): string[] {
    const kinds = (kind: string): string[] => this.devices.filter((one) => one.kind === kind).map((one) => one.id);
    if (this.view === "paths") return ["paths", ...(this.query.get("look") === "table" ? kinds("router") : [])];
    if (this.view === "sound") return kinds("mixer");
    const box = this.view === "kit" ? this.query.get("box") : null;
    return box !== null && this.devices.some((one) => one.id === box) ? [box] : [];
  }

  // -- acts -----------------------------------------------------------------------------------------------------

  /** Is something of this place under way? */
  asked(place: string): boolean {
    return [...this.#asked.values()].includes(place);
  }

  /** Ask; `place` is where its answer is shown. The same press again while it is under way does nothing. */
  async act(place: string, path: string, body: unknown): Promise<RefusedError | null> {
    const key = `${place} ${path}`;
    if (this.#asked.has(key)) return null;
    this.#asked.set(key, place);
    this.said.delete(place);
    this.draw();
    try {
      const told = await this.asks.post<{ say?: string; done?: string | number; ended?: string | null }>(path, body);
      const bad = told.ended === "failed" || told.ended === "unconfirmed";
      this.said.set(place, { text: (typeof told.done === "string" ? told.done : told.say) ?? "Done.", bad });
      return null;
    } catch (slip) {
      this.said.set(place, { text: slip instanceof Error ? slip.message : String(slip), bad: true });
      return slip instanceof RefusedError ? slip : null;
    } finally {
      this.#asked.delete(key);
      this.draw();
    }
  }

  roll(on: string[] = []): void {
    void this.act(on[0] ? `roll ${on[0]}` : "write", "roll?wait=verdict", on.length ? { on } : {});
  }

  openQuestion(): void {
    const end = this.feed.sections?.acts.end;
    if (!end) return;
    this.question = { take: end.take, rolling: [...end.rolling], changed: "", pressAt: 0 };
    this.said.delete("write");
    this.draw();
  }

  keepRolling(): void {
    this.question = null;
    this.confirm = null;
    this.draw();
  }

  end(): void {
    const question = this.question;
    if (question === null || Date.now() < question.pressAt || !this.live) return;
    const word = this.confirm?.take === question.take ? this.confirm.word : "";
    this.question = null;
    this.confirm = null;
    void this.#end(question, word);
  }

  /** What ends somebody else's take is asked a second time, in the daemon's words. */
  async #end(question: Question, word: string): Promise<void> {
    const refused = await this.act("write", "cut?wait=verdict", { take: question.take, ...(word && { confirm: word }) });
    if (refused?.code !== "confirm" || this.feed.sections?.acts.end?.take !== question.take) return;
    this.confirm = { take: question.take, word: String(refused.told["confirm"] ?? ""), say: refused.message };
    this.said.delete("write");
    this.question = { ...question, pressAt: Date.now() + HOLD_MS };
    setTimeout(() => this.draw(), HOLD_MS + 10);
    this.draw();
  }

  /** A question whose picture changed is rewritten, says what changed and can't be pressed at once. */
  #look(): void {
    const question = this.question;
    if (question === null) return;
    const end = this.feed.sections?.acts.end;
    if (!end || end.take !== question.take) {
      this.question = null;
      this.said.set("write", { text: `Take ${question.take} has ended by itself.`, bad: false });
      return;
    }
    const gone = question.rolling.filter((device) => !end.rolling.includes(device)).map((one) => this.called(one));
    const come = end.rolling.filter((device) => !question.rolling.includes(device)).map((one) => this.called(one));
    if (gone.length + come.length === 0) return;
    const told = [gone.length ? `${gone.join(", ")} no longer rolls.` : "", come.length ? `${come.join(", ")} rolls now.` : ""];
    this.question = {
      take: end.take,
      rolling: [...end.rolling],
      changed: told.filter(Boolean).join(" "),
      pressAt: Date.now() + HOLD_MS,
    };
    setTimeout(() => this.draw(), HOLD_MS + 10);
  }

  may(verb: string): boolean {
    const me = this.me;
    return me !== null && me.role !== "viewer" && (me.verbs === null || me.verbs.includes(verb));
  }

  // -- what a view reads for itself --------------------------------------------------------------------------------

  /** What stands under an address of the API, read anew while a view shows it; undefined: not yet. */
  watched<T>(path: string): T | undefined {
    this.#wanted.add(path);
    if (!this.#read.has(path)) void this.#fetch(path);
    return this.#read.get(path) as T | undefined;
  }

  /** Read anew what the present view showed last; called after it was drawn. */
  renew(): void {
    const now = performance.now();
    if (this.live && now - this.#renewed > RENEW_MS) {
      this.#renewed = now;
      for (const path of this.#wanted) void this.#fetch(path);
    }
    for (const path of this.#read.keys()) if (!this.#wanted.has(path)) this.#read.delete(path);
    this.#wanted.clear();
  }

  async #fetch(path: string): Promise<void> {
    if (this.#reading.has(path)) return;
    this.#reading.add(path);
    try {
      const told = await this.asks.get(path);
      this.#read.set(path, told);
      this.#wanted.add(path);
      this.draw();
    } catch {
      // what is shown stays; the lag line says how old the page is
    } finally {
      this.#reading.delete(path);
    }
  }

  // -- what is read beside the feed -----------------------------------------------------------------------------

  called(device: string): string {
    return this.devices.find((one) => one.id === device)?.called ?? device;
  }

  /** Read what the feed doesn't tell; one after the other, so that the feed is not held up behind them. */
  async #everything(): Promise<void> {
    try {
      this.site = await this.asks.get<Site>("site");
      this.devices = (await this.asks.get<{ devices: Device[] }>("devices")).devices;
      this.draw();
      await this.#readTakes(this.query.get("look") === "print" ? TAKES : TAKES_FIRST); // paper has no button for the older ones
      this.feed.keep((await this.asks.get<{ entries: Entry[] }>(`journal?count=${ENTRIES_FIRST}`)).entries);
      this.draw();
    } catch {
      // the feed is lost again: the next snapshot reads all anew
    }
  }

  async readOlder(): Promise<void> {
    try {
      await this.#readTakes(TAKES);
      this.older = false;
    } catch {
      // lost: the next snapshot reads the newest anew
    }
    this.draw();
  }

  async #readTakes(count: number): Promise<void> {
    const { takes } = await this.asks.get<{ takes: Take[] }>(`takes?count=${count}`);
    this.takes = takes.reverse();
    this.older = takes.length === count;
  }

  #heard(entries: readonly Entry[]): void {
    for (const entry of entries) {
      const number = entry.kind === "take" ? entry.data["take"] : undefined;
      if (typeof number === "number") this.#stale.add(number);
    }
    if (this.#stale.size > 0 && !this.#fetching) {
      this.#fetching = true;
      setTimeout(() => void this.#again(), 300);
    }
  }

  async #again(): Promise<void> {
    const numbers = [...this.#stale];
    this.#stale.clear();
    this.#fetching = false;
    for (const number of numbers) {
      try {
        this.#put(await this.asks.get<Take>(`takes/${number}`));
      } catch {
        return; // lost: the next snapshot reads all anew
      }
    }
    this.draw();
  }

  #put(take: Take): void {
    const others = this.takes.filter((one) => one.take !== take.take);
    this.takes = [...others, take].sort((a, b) => a.take - b.take).slice(-TAKES);
  }
}

export function address(view: View): string {
  return view === "sheet" ? "/" : `/${view}`;
}
