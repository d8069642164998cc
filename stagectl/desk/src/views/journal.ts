// Who did what, when, with what verdict?
import { html, nothing, type TemplateResult } from "lit";
import { repeat } from "lit/directives/repeat.js";
import { spread } from "../charts/spread";
import type { Desk } from "../desk";
import { bound, timeOfDay } from "../text";
import { finder } from "./common";

const LINES = 400;

export function journal(desk: Desk): TemplateResult {
  const text = desk.find.toLowerCase();
  const found = desk.feed.entries
    .filter((entry) => entry.say && `${entry.say} ${entry.who} ${entry.kind}`.toLowerCase().includes(text))
    .slice(-LINES)
    .reverse();
  return html`<h2 class="view-title">Journal</h2>
    ${spread(desk)} ${finder(desk, "Find in the journal")}
    <ol class="rows journal" reversed>
      ${repeat(
        found,
        (entry) => entry.n,
        (entry) => html`<li class="row">
          <time>${timeOfDay(entry.at, desk.feed.zoneMin)}</time>
          <span class="value">${bound(entry.say)}</span>
          <span class="about">${entry.who ? `${entry.who}, ` : ""}line ${entry.n}</span>
        </li>`,
      )}
    </ol>
    ${found.length === 0 ? html`<p class="second">The journal holds nothing like that here.</p>` : nothing}`;
}
