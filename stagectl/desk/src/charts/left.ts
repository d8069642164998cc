// Which medium runs out first? Hours left on each recorder; the worst in ink, the rest in pencil.
import { html, nothing, svg, type TemplateResult } from "lit";
import type { Desk } from "../desk";
import { bound, spell, timeOfDay } from "../text";
import { figure } from "./figure";

const ROW = 26;

/** `rows`: so many recorders, those that run out first. */
export function left(desk: Desk, shown = 8): TemplateResult {
  const told = desk.feed.sections;
  const known = (told?.each ?? []).filter((one) => one.left_s !== null);
  if (!told || known.length === 0) return html``;
  const order = [...known].sort((a, b) => (a.left_s ?? 0) - (b.left_s ?? 0)).slice(0, shown);
  const most = Math.max(...order.map((one) => one.left_s ?? 0), 3600);
  const full = (seconds: number): string => timeOfDay(desk.feed.now() + seconds * 1000, desk.feed.zoneMin).slice(0, 5);
  const drawn = html`<div class="left-rows" aria-hidden="true">
    ${order.map(
      (one, i) => html`<span class="who">${bound(one.called)}</span>
        <svg width="100%" height=${ROW}>
          <rect class="well" x="0" y=${ROW / 2 - 1} width="100%" height="2"></rect>
          <rect class=${i === 0 ? "ink" : "pencil"} x="0" y=${ROW / 2 - 5} width=${`${((one.left_s ?? 0) / most) * 100}%`} height="10"></rect>
          ${svg`${hours(most).map((at) => svg`<rect class="tick" x=${`${(at / most) * 100}%`} y=${ROW / 2 - 6} width="1" height="12"/>`)}`}
        </svg>
        <span class="amount">${spell(one.left_s ?? 0)}</span>`,
    )}
  </div>
  ${known.length > order.length ? html`<p class="second">and ${known.length - order.length} more with more left</p>` : nothing}`;
  const rows = order.map((one) => [one.called, spell(one.left_s ?? 0), told.take ? full(one.left_s ?? 0) : "not running out"]);
  return figure("Medium left", bound(told.pictures["left"] ?? ""), drawn, { head: ["Recorder", "Left", "Full at about"], rows });
}

function hours(most: number): number[] {
  return Array.from({ length: Math.floor(most / 3600) }, (_, i) => (i + 1) * 3600);
}
