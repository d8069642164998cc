// Which clips exist twice, proven, and what is left? A sentence, what goes on, a row for each recorder.
import { html, nothing, type TemplateResult } from "lit";
import { repeat } from "lit/directives/repeat.js";
import type { Desk } from "../desk";
import { mark } from "../marks";
import type { CopyDeck, CopyNow, CopyOff } from "../shapes";
import { bound } from "../text";
import { unread } from "./common";

export function copyoff(desk: Desk): TemplateResult {
  const told = desk.watched<CopyOff>("copy");
  if (!told) return html`<h2 class="view-title">Copy-off</h2>${unread(desk, "the copies")}`;
  const run = told.run && !told.run.outcome ? told.run : null;
  const goes = run ? run.recorders.filter((one) => one.busy !== "idle") : [];
  const said = desk.said.get("copyoff");
  return html`<h2 class="view-title">Copy-off</h2>
    <p>${bound(run ? run.say : told.say)}</p>
    ${told.schedule ? html`<p class="second">${bound(told.schedule)}</p>` : nothing}
    ${desk.may("copy")
      ? html`<p class="copying">
          <button class="act ${run === null ? "" : "gone"}" aria-disabled=${!desk.live} @click=${() => begin(desk, run)}>Copy what is not copied</button>
          <button class="small ${run === null ? "gone" : ""}" aria-disabled=${!desk.live} @click=${() => stop(desk, run)}>Stop copying</button>
          <span role="status" class="bad">${said?.bad ? bound(said.text) : nothing}</span></p>`
      : nothing}
    ${goes.length ? html`<ul class="rows" aria-label="What goes on">${repeat(goes, (one) => one.device, now)}</ul>` : nothing}
    <ul class="rows" aria-label="Recorders">${repeat(told.recorders, (one) => one.device, row)}</ul>
    <p class="second">${told.places.map((place) => html`${bound(place.name)} is ${bound(place.called)}. `)}Nothing is ever deleted from a recorder.</p>`;
}

function begin(desk: Desk, run: CopyOff["run"]): void {
  if (desk.live && run === null) void desk.act("copyoff", "copy/runs", {});
}

function stop(desk: Desk, run: CopyOff["run"]): void {
  if (desk.live && run !== null) void desk.act("copyoff", "copy/stop", {});
}

function now(one: CopyNow): TemplateResult {
  const done = one.busy === "copying" && one.of ? `${size(one.done)} of ${size(one.of)}, ${size(one.rate)}/s` : one.why;
  return html`<li class="row"><span class="who">${bound(one.called)}</span>
    <span class="value">${one.busy}${one.clip ? html`: ${bound(one.clip)}` : nothing}</span><span class="about">${bound(done)}</span></li>`;
}

/** The sentence names the recorder; so does its row. */
function row(one: CopyDeck): TemplateResult {
  const name = `${one.called}: `;
  const say = one.say.startsWith(name) ? one.say.slice(name.length, name.length + 1).toUpperCase() + one.say.slice(name.length + 1) : one.say;
  return html`<li class="row"><span class="who">${one.failed ? mark("now") : nothing} ${bound(one.called)}</span>
    <span class="value">${bound(say)}</span><span></span>
    ${one.clear_say ? html`<span class="way">${bound(one.clear_say)}</span>` : nothing}</li>`;
}

const UNITS: [number, string][] = [[1e12, "TB"], [1e9, "GB"], [1e6, "MB"], [1e3, "kB"]];

/** Bytes as people read them, in powers of ten. */
function size(count: number): string {
  for (const [one, unit] of UNITS) if (count >= one) return `${(count / one).toFixed(1)} ${unit}`;
  return `${count} bytes`;
}
