// Where is the open take written? At the foot: the band, its lanes, and the acts; each act has a place of its own.
// Ending is a question in the line: "Keep rolling" lies where "End take" was and has the focus.
import { html, nothing, type TemplateResult } from "lit";
import { ref } from "lit/directives/ref.js";
import { band } from "../band";
import type { Desk } from "../desk";
import { bars, envelope, lane, lensName } from "../lane";
import { mark } from "../marks";
import type { Recorder, Sections, Take } from "../shapes";
import { bound, clock, ranS, timeOfDay } from "../text";

const LANES = 6; // more recorders are drawn as one bar and those that are not proven

export function writing(desk: Desk): TemplateResult {
  const told = desk.feed.sections;
  if (told === null) return html``;
  const take = told.take;
  return html`<section class="writing ${take === null ? "resting" : ""}" aria-label="Writing line">
    ${band(told.each, take !== null)}
    ${take === null ? resting(told) : rolling(desk, told, take)}
    ${said(desk)}
    ${desk.question !== null ? question(desk) : desk.form !== null ? form(desk, told) : acts(desk, told)}
  </section>`;
}

function resting(told: Sections): TemplateResult {
  return html`<p class="open">Next: take ${told.next.take}${told.next.name ? `, ${told.next.name}` : ""}</p>
    ${told.last ? html`<p class="second">${bound(told.last)}</p>` : nothing}`;
}

function rolling(desk: Desk, told: Sections, take: Take): TemplateResult {
  const now = desk.feed.now();
  const drawn = bars(take, now);
  const all = [...drawn.values()];
  const whole = desk.view === "sheet" && told.each.length <= LANES; // another view is being read: only what is odd is drawn
  const rows: Recorder[] = whole ? told.each : told.each.filter((one) => one.state !== "proven");
  return html`<p class="open">
      <span>Take ${take.take}${take.good ? html` ${mark("good")} good` : nothing}</span>
      <span class="title">${take.name}</span>
      <span class="since">since ${timeOfDay(take.opened, desk.feed.zoneMin)}</span>
      <span class="clock">${clock(ranS(take, now))}</span>
    </p>
    <ul class="lanes">
      ${desk.view === "sheet" && told.each.length > LANES
        ? html`<li class="together"><span class="who">Together</span><span class="words">${lensName(all)}</span>${lane(envelope(all), all, "proven")}</li>`
        : nothing}
      ${rows.map((one) => {
        const bar = drawn.get(one.device);
        return html`<li class=${one.state}>
          <span class="who">${bound(one.called)}</span>
          <span class="words">${mark(one.state)} ${bound(one.say)}</span>
          ${bar ? lane(bar, all, one.state) : nothing}
        </li>`;
      })}
    </ul>`;
}

function said(desk: Desk): TemplateResult {
  const told = desk.said.get("write");
  const asked = desk.asked("write");
  return html`<p class="said ${told?.bad ? "bad" : ""}" role="status">
    ${asked ? html`${mark("asked")} Asked.` : told ? bound(told.text) : nothing}
  </p>`;
}

function acts(desk: Desk, told: Sections): TemplateResult {
  const { roll, end } = told.acts;
  const take = told.take;
  const dead = !desk.live;
  return html`<div class="acts">
    <div class="slot-roll">
      ${roll && desk.may("roll")
        ? html`<button id="act-roll" class="act" aria-disabled=${dead || roll.can === 0} @click=${() => roll.can > 0 && desk.roll()}>
            ${bound(roll.label)}
          </button>`
        : nothing}
    </div>
    <div class="slot-write">
      ${take && desk.may("good")
        ? html`<button id="act-good" class="act" aria-disabled=${dead} @click=${() => good(desk, take)}>
            ${take.good ? `Take ${take.take} is not good` : `Mark take ${take.take} good`}
          </button>`
        : nothing}
      ${desk.may("note") && (take ?? desk.takes.length > 0)
        ? html`<button id="act-note" class="act" aria-disabled=${dead} @click=${() => open(desk, "note")}>Write a note</button>`
        : nothing}
      ${desk.may("slate")
        ? html`<button id="act-name" class="act" aria-disabled=${dead} @click=${() => open(desk, "name")}>
            Name take ${told.next.take}
          </button>`
        : nothing}
    </div>
    <div class="slot-end">
      ${end && desk.may("cut")
        ? html`<button id="act-end" class="act" aria-disabled=${dead} @click=${() => !dead && desk.openQuestion()}>${bound(end.label)}</button>`
        : nothing}
    </div>
  </div>
  ${dead ? html`<p class="dead">These acts can’t be sent now: this page is not live.</p>` : nothing}`;
}

function good(desk: Desk, take: Take): void {
  void desk.act("write", `takes/${take.take}/marks`, { good: !take.good });
}

function open(desk: Desk, form: "note" | "name"): void {
  if (!desk.live) return;
  desk.form = form;
  desk.said.delete("write");
  desk.draw();
}

function question(desk: Desk): TemplateResult {
  const asked = desk.question;
  const end = desk.feed.sections?.acts.end;
  if (!asked || !end) return html``;
  const held = Date.now() < asked.pressAt || !desk.live;
  return html`<div class="question" role="alertdialog" aria-labelledby="ask-say" aria-describedby="ask-changed" @keydown=${arrows}>
    <p id="ask-say">${bound(desk.confirm ? desk.confirm.say : end.ask)}</p>
    <p id="ask-changed" class="changed">${asked.changed ? bound(asked.changed) : nothing}</p>
    <div class="acts">
      <button id="do-end" class="act ends" aria-disabled=${held} @click=${() => desk.end()}>${bound(end.do)}</button>
      <button id="keep" class="act keep" ${ref(focused)} @click=${() => desk.keepRolling()}>Keep rolling</button>
    </div>
  </div>`;
}

/** Left and right go between the two answers. */
function arrows(event: KeyboardEvent): void {
  if (event.key === "ArrowLeft") document.getElementById("do-end")?.focus();
  else if (event.key === "ArrowRight") document.getElementById("keep")?.focus();
}

/** Called once, when it appears. */
function focused(element: Element | undefined): void {
  if (element instanceof HTMLElement) queueMicrotask(() => element.focus());
}

function form(desk: Desk, told: Sections): TemplateResult {
  const note = desk.form === "note";
  const take = told.take?.take ?? desk.takes.at(-1)?.take;
  const label = note ? `Note to take ${take}` : `Name of take ${told.next.take}`;
  const keep = (event: SubmitEvent): void => {
    event.preventDefault();
    const text = new FormData(event.target as HTMLFormElement).get("text");
    if (typeof text !== "string" || (note && !text.trim())) return;
    desk.form = null;
    void desk.act("write", note ? `takes/${take}/marks` : "takes/slate", note ? { note: text.trim() } : { name: text.trim() });
  };
  return html`<form class="small-form" @submit=${keep} @keydown=${(event: KeyboardEvent) => event.key === "Escape" && close(desk)}>
    <label for="small-text">${label}</label>
    <input id="small-text" name="text" maxlength=${note ? 1000 : 200} autocomplete="off" value=${note ? "" : told.next.name} ${ref(focused)} />
    <button class="act" type="submit">${note ? "Keep the note" : "Keep the name"}</button>
    <button class="act quiet" type="button" @click=${() => close(desk)}>Leave it</button>
  </form>`;
}

function close(desk: Desk): void {
  desk.form = null;
  desk.draw();
}
