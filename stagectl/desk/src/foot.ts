// When is a reader taken along to a new line? Only one who is at the foot of the sheet already.
// Told by the browser after its own layout: asking for heights in each frame would make it lay out all takes each time.
const NEAR_PX = 80;

export class Foot {
  #view: HTMLElement | null = null;
  #list: Element | null = null;
  #near = true;
  readonly #seen = new ResizeObserver(() => this.#follow());

  /** After a drawing; `follows`: the sheet is read, and nothing that opened stands above it. */
  look(follows: boolean): void {
    const view = follows ? document.getElementById("view") : null;
    const list = view?.querySelector(".sheet") ?? null;
    if (view === this.#view && list === this.#list) return;
    this.#seen.disconnect();
    this.#view?.removeEventListener("scroll", this.#scrolled);
    this.#view = view;
    this.#list = list;
    this.#near = true;
    view?.addEventListener("scroll", this.#scrolled, { passive: true });
    for (const one of [view, list]) if (one !== null) this.#seen.observe(one);
  }

  readonly #scrolled = (): void => {
    const view = this.#view;
    if (view !== null) this.#near = view.scrollHeight - view.scrollTop - view.clientHeight < NEAR_PX;
  };

  #follow(): void {
    if (this.#near && this.#view !== null) this.#view.scrollTop = this.#view.scrollHeight;
  }
}
