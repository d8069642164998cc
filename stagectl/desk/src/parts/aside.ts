// How is something wrong put aside? For a time that ends by itself, with a reason; who did it stands in the journal.
import { html, type TemplateResult } from "lit";
import { ref } from "lit/directives/ref.js";
import type { Desk } from "../desk";
import type { Alarm } from "../shapes";

const HOURS = [
  [0.5, "30 min"],
  [1, "1 h"],
  [2, "2 h"],
  [4, "4 h"],
  [8, "8 h"],
] as const;
const SLACK_MS = 5000; // 8 h is the daemon's most, by its own clock

export function aside(desk: Desk, row: Alarm, place: string): TemplateResult {
  const close = (): void => {
    desk.choosing = null;
    desk.draw();
  };
  const keep = (event: SubmitEvent): void => {
    event.preventDefault();
    const data = new FormData(event.target as HTMLFormElement);
    const reason = String(data.get("reason") ?? "").trim();
    if (!reason) return;
    desk.choosing = null;
    const until = new Date(desk.feed.now() + Number(data.get("hours")) * 3_600_000 - SLACK_MS).toISOString();
    void desk.act(place, `alarms/${row.id}/aside`, { until, reason });
  };
  return html`<form class="small-form" @submit=${keep} @keydown=${(event: KeyboardEvent) => event.key === "Escape" && close()}>
    <label for="reason">Why it can wait</label>
    <input id="reason" name="reason" maxlength="200" autocomplete="off" required ${ref(focused)} />
    <label for="hours">for</label>
    <select id="hours" name="hours">${HOURS.map(([hours, name]) => html`<option value=${hours} ?selected=${hours === 1}>${name}</option>`)}</select>
    <button type="submit">Put it aside</button>
    <button class="quiet" type="button" @click=${close}>Leave it</button>
  </form>`;
}

function focused(element: Element | undefined): void {
  if (element instanceof HTMLElement) queueMicrotask(() => element.focus());
}
