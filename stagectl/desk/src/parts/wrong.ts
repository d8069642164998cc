// What is wrong now, and what can be done about it? At most three rows, the worst first; one cause, one row.
import { html, nothing, type TemplateResult } from "lit";
import { repeat } from "lit/directives/repeat.js";
import type { Desk } from "../desk";
import { mark } from "../marks";
import type { Alarm } from "../shapes";
import { aside } from "./aside";
import { bound } from "../text";

const SHOWN = 3;

export function wrong(desk: Desk): TemplateResult {
  const sections = desk.feed.sections;
  const rows = (sections?.wrong ?? []).filter((row) => row.grade !== "later");
  const all = [...rows, ...(sections?.back ?? [])];
  const shown = desk.allWrong ? all : all.slice(0, SHOWN);
  const more = all.length - shown.length;
  const unfold = (): void => {
    desk.allWrong = !desk.allWrong;
    desk.draw();
  };
  return html`<section
    class="wrong-strip ${desk.allWrong ? "all" : ""}"
    aria-label="What is wrong"
    @pointerenter=${(event: PointerEvent) => hold(event.currentTarget as HTMLElement)}
    @pointerleave=${(event: PointerEvent) => (event.currentTarget as HTMLElement).style.removeProperty("min-height")}
  >
    <ul>
      ${repeat(
        shown,
        (row) => row.id,
        (row, i) => one(desk, row, i),
      )}
    </ul>
    ${all.length > 1 ? html`<p class="phone-more"><button class="small" aria-expanded=${desk.allWrong} @click=${unfold}>${desk.allWrong ? "Show the worst one" : `and ${all.length - 1} more`}</button></p>` : nothing}
    ${more > 0 || (desk.allWrong && all.length > SHOWN)
      ? html`<p class="rest"><button class="small" aria-expanded=${desk.allWrong} @click=${unfold}>
          ${desk.allWrong ? "Show the worst three" : `and ${more} more`}
        </button></p>`
      : nothing}
  </section>`;
}

/** A row that goes leaves its space while the pointer is here: what is about to be pressed does not move. */
function hold(strip: HTMLElement): void {
  strip.style.minHeight = `${strip.offsetHeight}px`;
}

function one(desk: Desk, row: Alarm, index: number): TemplateResult {
  const join = desk.feed.sections?.acts.join.find((act) => act.device === row.device && row.id.endsWith("not-rolled"));
  const place = `alarm ${row.id}`;
  const said = desk.said.get(place) ?? (join ? desk.said.get(`roll ${row.device}`) : undefined);
  const over = row.is === "back";
  return html`<li class="${over ? "over" : row.is === "known" ? "known" : row.grade} ${index === 0 ? "first" : ""}" data-alarm=${row.id}>
    ${over ? nothing : mark(row.grade === "now" ? "now" : "soon")}
    <p><strong>${bound(row.say)}</strong> ${bound(row.remedy.replace(/, then: stagectl .*$/, "."))}
      ${row.under_it.length ? html`<span class="under">Behind it: ${row.under_it.length} more.</span>` : nothing}
      ${said?.bad ? html`<span class="bad" role="status">${said.text}</span>` : nothing}</p>
    ${join && desk.may("roll")
      ? html`<button aria-disabled=${!desk.live} @click=${() => desk.roll([row.device])} ?data-asked=${desk.asked(`roll ${row.device}`)}>
          ${desk.asked(`roll ${row.device}`) ? html`${mark("asked")} Asked` : bound(join.label)}
        </button>`
      : nothing}
    ${desk.may("alarm")
      ? html`${over ? nothing : later(desk, row)}
          <button class="quiet ${row.is === "known" ? "gone" : ""}" aria-disabled=${!desk.live} aria-label="I know: ${row.say}" @click=${() => void desk.act(place, `alarms/${row.id}/ack`, {})}>
            I know
          </button>`
      : nothing}
    ${desk.choosing === place ? aside(desk, row, place) : nothing}
  </li>`;
}

/** Opens the form that leaves it out for a time; the place of "I know" stays free, so that nothing moves under a hand. */
function later(desk: Desk, row: Alarm): TemplateResult {
  const place = `alarm ${row.id}`;
  const open = desk.choosing === place;
  return html`<button class="quiet later" aria-disabled=${!desk.live} aria-expanded=${open} aria-label="Put aside: ${row.say}"
    @click=${() => desk.live && ((desk.choosing = open ? null : place), desk.draw())}>Put aside...</button>`;
}
