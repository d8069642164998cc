// How does the page ask? Over HTTP, each wish with an id of its own and with when this page last saw the daemon:
// a wish that comes late is refused there. Nothing is sent unless the page is live, and nothing is kept for later.
import type { Feed } from "./feed";

const VERDICT_MS = 15_000;

/** Why it was not done, in the daemon's words. */
export class RefusedError extends Error {
  constructor(say: string, readonly code: string, readonly told: Record<string, unknown>) {
    super(say);
  }
}

export class Asks {
  token = "";

  constructor(private readonly feed: Feed) {}

  /** Read something under /api/v1/. */
  async get<T>(path: string): Promise<T> {
    return (await this.#send(path, { headers: this.#headers(), signal: AbortSignal.timeout(VERDICT_MS) })) as T;
  }

  /** Ask for something; throws RefusedError, also when this page is not live. */
  async post<T>(path: string, body: unknown): Promise<T> {
    const seen = this.feed.seen();
    if (seen === null) throw new RefusedError("Nothing can be sent from here now. No press is kept for later.", "lost", {});
    const headers = {
      ...this.#headers(),
      "Content-Type": "application/json",
      "Idempotency-Key": id(),
      "Stagectl-Seen": seen,
    };
    const signal = AbortSignal.timeout(VERDICT_MS);
    return (await this.#send(path, { method: "POST", headers, body: JSON.stringify(body), signal })) as T;
  }

  async login(name: string, password: string): Promise<string> {
    const headers = { "Content-Type": "application/json" };
    const body = JSON.stringify({ name, password });
    const told = (await this.#send("login", { method: "POST", headers, body })) as { token: string };
    return told.token;
  }

  #headers(): Record<string, string> {
    return this.token ? { Authorization: `Bearer ${this.token}` } : {};
  }

  async #send(path: string, init: RequestInit): Promise<unknown> {
    let answer: Response;
    try {
      answer = await fetch(`/api/v1/${path}`, { ...init, cache: "no-store" });
    } catch {
      throw new RefusedError("Not known if it was heard: no answer came. Look at the boxes.", "lost", {});
    }
    const told = (await answer.json()) as Record<string, unknown>;
    if (answer.ok) return told;
    const say = [told["detail"], told["remedy"]].filter(Boolean).join(" ");
    throw new RefusedError(say, String(told["code"] ?? answer.status), told);
  }
}

function id(): string {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");
}
