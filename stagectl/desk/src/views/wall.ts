// What can be read from four metres? The sentence, what is wrong, the band and one picture; nothing to press.
import { html, nothing, type TemplateResult } from "lit";
import { band } from "../band";
import { left } from "../charts/left";
import type { Desk } from "../desk";
import { mark } from "../marks";
import { head } from "../parts/head";
import { bound, clock, ranS } from "../text";

const SHOWN = 2;

export function wall(desk: Desk): TemplateResult {
  const told = desk.feed.sections;
  if (told === null) return html``;
  const rows = told.wrong.filter((row) => row.grade !== "later");
  return html`<div class="wall">
    ${head(desk)}
    <main id="view">
      ${rows.length
        ? html`<ul class="wrong-strip">${rows.slice(0, SHOWN).map((row) => html`<li class="${row.grade} first">${mark(row.grade === "now" ? "now" : "soon")}<p><strong>${bound(row.say)}</strong></p></li>`)}</ul>
            ${rows.length > SHOWN ? html`<p class="rest">and ${rows.length - SHOWN} more</p>` : nothing}`
        : nothing}
      ${told.take ? html`<p class="big-clock">${clock(ranS(told.take, desk.feed.now()))}</p>` : nothing}
      ${band(told.each, told.take !== null)} ${left(desk, rows.length ? 3 : 6)}
    </main>
  </div>`;
}
