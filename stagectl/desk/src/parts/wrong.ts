// What is wrong now, and what can be done about it? At most three rows, the worst first; one cause, one row.
import { html, nothing, type TemplateResult } from "lit";
import { repeat } from "lit/directives/repeat.js";
import type { Desk } from "../desk";
import { mark } from "../marks";
import type { Alarm } from "../shapes";
import { bound } from "../text";

const SHOWN = 3;

export function wrong(desk: Desk): TemplateResult {
  const sections = desk.feed.sections;
  const rows = (sections?.wrong ?? []).filter((row) => row.grade !== "later");
  const all = [...rows, ...(sections?.back ?? [])];
  const shown = desk.allWrong ? all : all.slice(0, SHOWN);
  const more = all.length - shown.length;
  return html`<section
    class="wrong-strip"
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
    ${all.length > 1 ? html`<p class="phone-more">and ${all.length - 1} more</p>` : nothing}
    ${more > 0 || desk.allWrong
      ? html`<p class="rest"><button class="small" @click=${() => ((desk.allWrong = !desk.allWrong), desk.draw())}>
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
  return html`<li class="${over ? "over" : row.is === "known" ? "known" : row.grade} ${index === 0 ? "first" : ""}">
    ${over ? nothing : mark(row.grade === "now" ? "now" : "soon")}
    <p><strong>${bound(row.say)}</strong> ${bound(row.remedy.replace(/, then: stagectl .*$/, "."))}
      ${row.under_it.length ? html`<span class="under">Behind it: ${row.under_it.length} more.</span>` : nothing}
      ${said?.bad ? html`<span class="bad" role="status">${said.text}</span>` : nothing}</p>
    ${join && desk.may("roll")
      ? html`<button aria-disabled=${!desk.live} @click=${() => desk.roll([row.device])} ?data-asked=${desk.asked(`roll ${row.device}`)}>
          ${desk.asked(`roll ${row.device}`) ? html`${mark("asked")} Asked` : bound(join.label)}
        </button>`
      : nothing}
    ${row.is === "known" || !desk.may("alarm")
      ? nothing
      : html`<button class="quiet" aria-disabled=${!desk.live} aria-label="I know: ${row.say}" @click=${() => void desk.act(place, `alarms/${row.id}/ack`, {})}>
          I know
        </button>`}
  </li>`;
}
