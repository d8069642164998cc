// What do the views share? The box to find something, the choice of a second look, and how old or whose a value is.
import { html, nothing, type TemplateResult } from "lit";
import { address, type Desk, type View } from "../desk";
import { mark } from "../marks";
import type { Point } from "../shapes";
import { bound, spell, timeOfDay } from "../text";

export function finder(desk: Desk, label: string): TemplateResult {
  return html`<p class="finder">
    <label for="find">${label}</label>
    <input id="find" type="search" autocomplete="off" maxlength="60" .value=${desk.find}
      @input=${(event: InputEvent) => desk.filter("find", (event.target as HTMLInputElement).value)} />
  </p>`;
}

/** Two looks at the same data; which one stands in the address. */
export function looks(desk: Desk, view: View, first: string, second: string): TemplateResult {
  const table = desk.query.get("look") === "table";
  const link = (name: string, here: boolean, look: string): TemplateResult => html`<a
    href=${look ? `${address(view)}?look=${look}` : address(view)}
    aria-current=${here ? "true" : nothing}
    @click=${(event: MouseEvent) => (event.preventDefault(), desk.filter("look", look))}
    >${name}</a>`;
  return html`<p class="looks">${link(first, !table, "")} ${link(second, table, "table")}</p>`;
}

/** Stands where a view has nothing yet: it is being read, or can't be. */
export function unread(desk: Desk, what: string): TemplateResult {
  return html`<p class="second">${desk.live ? `Reading ${what}.` : `Not read: ${what}. This page has lost stagectl.`}</p>`;
}

/** What is said beside a value that is not simply so: its age, its doubt, whose hand it was. */
export function age(desk: Desk, point: Point | undefined): TemplateResult {
  if (!point || point.at === null || point.quality === "unknown") return html`<span class="about">${mark("unknown")} not known</span>`;
  if (point.quality === "asked") return html`<span class="about">${mark("asked")} sent; this box can’t report</span>`;
  if (point.quality === "stale") {
    const ago = (desk.feed.now() - Date.parse(point.at)) / 1000;
    return html`<span class="about">${mark("stale")} was so, ${spell(ago)} ago</span>`;
  }
  const time = timeOfDay(point.at, desk.feed.zoneMin);
  if (point.by === "box") return html`<span class="about">${mark("house")} changed at the box ${time.slice(0, 5)}</span>`;
  return html`<span class="about">since ${bound(time.slice(0, 5))}${point.by ? `, ${point.by}` : ""}</span>`;
}
