// How does a card stay lit while a take rolls? It asks the device to keep its screen on, and lets go at the end.
export class Awake {
  #held: WakeLockSentinel | null = null;
  #asking = false;

  /** Keep the screen on, or no more. A device that can't, or won't, goes dark as it always did. */
  keep(on: boolean): void {
    if (!on || document.hidden) {
      void this.#held?.release();
      this.#held = null;
    } else if (this.#held === null && !this.#asking && "wakeLock" in navigator) {
      this.#asking = true;
      navigator.wakeLock
        .request("screen")
        .then((held) => {
          this.#held = held;
          held.addEventListener("release", () => (this.#held = null));
        })
        .catch(() => {})
        .finally(() => (this.#asking = false));
    }
  }
}
