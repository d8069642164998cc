// Can we roll, and if not, what do I do? Every check as it stands now, what fails first, each with its remedy.
import { html, nothing, type TemplateResult } from "lit";
import { repeat } from "lit/directives/repeat.js";
import { left } from "../charts/left";
import { offsets } from "../charts/offsets";
import type { Desk } from "../desk";
import { mark } from "../marks";
import type { Check, Clocks, Lineup } from "../shapes";
import { bound } from "../text";
import { unread } from "./common";

export function lineup(desk: Desk): TemplateResult {
  const told = desk.watched<Lineup>("lineup");
  const clocks = desk.watched<Clocks>("clock");
  if (!told) return html`<h2 class="view-title">Line-up</h2>${unread(desk, "the checks")}`;
  const open = told.rows.filter((row) => row.stands !== "pass");
  const passed = told.rows.filter((row) => row.stands === "pass");
  const said = desk.said.get("lineup");
  return html`<h2 class="view-title">Line-up</h2>
    <p>${bound(told.say)} Checked by itself, all the time.</p>
    ${desk.may("lineup")
      ? html`<p><button class="act" aria-disabled=${!desk.live} @click=${() => void desk.act("lineup", "lineup", {})}>
            ${desk.asked("lineup") ? "Asking every box" : "Ask every box anew"}
          </button> <span role="status" class=${said?.bad ? "bad" : ""}>${said ? bound(said.text) : nothing}</span></p>`
      : nothing}
    <ul class="rows checks">${repeat(open, (row) => row.id, (row) => check(desk, row))}</ul>
    <details class="passed"><summary>${passed.length} pass</summary>
      <ul class="rows checks">${repeat(passed, (row) => row.id, (row) => check(desk, row))}</ul>
    </details>
    ${clocks ? offsets(clocks) : nothing} ${left(desk)}`;
}

function check(desk: Desk, row: Check): TemplateResult {
  const place = `check ${row.id}`;
  const said = desk.said.get(place);
  const fails = row.stands !== "pass";
  const waive = (event: SubmitEvent): void => {
    event.preventDefault();
    const because = String(new FormData(event.target as HTMLFormElement).get("because") ?? "").trim();
    desk.choosing = null;
    if (because) void desk.act(place, "lineup/waivers", { check: row.id, because });
  };
  return html`<li class="row ${row.waiver ? "waived" : row.stands.replace(" ", "-")}">
    <span class="who">${fails ? mark(row.waiver ? "key" : row.stands === "fail" ? "now" : "unconfirmed") : nothing} ${bound(row.called)}</span>
    <span class="value">${row.asks}: ${row.stands === "pass" ? "" : row.stands === "fail" ? "found " : "not known, "}${bound(row.found)}</span>
    ${fails && desk.may("lineup")
      ? row.waiver
        ? html`<button class="small" aria-disabled=${!desk.live} @click=${() => void desk.act(place, "lineup/waivers", { check: row.id, because: "" })}>Check it again</button>`
        : html`<button class="small" aria-disabled=${!desk.live} aria-expanded=${desk.choosing === row.id} @click=${() => ((desk.choosing = desk.choosing === row.id ? null : row.id), desk.draw())}>Not today...</button>`
      : html`<span></span>`}
    ${fails ? html`<span class="way">${row.waiver ? `${row.waiver.by} lets it pass: ${row.waiver.because}` : row.remedy}</span>` : nothing}
    ${said ? html`<span class="said ${said.bad ? "bad" : ""}" role="status">${said.text}</span>` : nothing}
    ${desk.choosing === row.id
      ? html`<form class="small-form choose" @submit=${waive}>
          <label for="because">Why it may be left out today</label>
          <input id="because" name="because" maxlength="200" autocomplete="off" required />
          <button class="act" type="submit">Leave it out today</button>
        </form>`
      : nothing}
  </li>`;
}
