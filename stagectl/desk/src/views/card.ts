// What can a presenter do? Three acts in sentences, large; ending asks first.
import { html, nothing, type TemplateResult } from "lit";
import type { Desk } from "../desk";
import { mark } from "../marks";
import { head } from "../parts/head";
import { bound, clock, ranS } from "../text";

export function card(desk: Desk): TemplateResult {
  const told = desk.feed.sections;
  if (told === null) return html``;
  const take = told.take;
  const wrong = told.wrong.find((row) => row.grade !== "later");
  const said = desk.said.get("write");
  const dead = !desk.live;
  return html`<div class="card">
    ${head(desk)}
    <main id="view">
      <p class="place">${desk.site?.name ?? ""}</p>
      ${take ? html`<p class="big-clock">${clock(ranS(take, desk.feed.now()))}</p>` : nothing}
      <p class="well">${wrong ? html`${mark(wrong.grade === "now" ? "now" : "soon")} ${bound(told.say.includes(wrong.say) ? "Not all is well." : wrong.say)}` : desk.live ? "All well." : nothing}</p>
      ${desk.question ? question(desk) : acts(desk, dead)}
      <p class="said ${said?.bad ? "bad" : ""}" role="status">${desk.asked("write") ? "Asked." : said ? bound(said.text) : nothing}</p>
      ${dead ? html`<p class="dead">These acts can’t be sent now: this page is not live.</p>` : nothing}
    </main>
  </div>`;
}

function acts(desk: Desk, dead: boolean): TemplateResult {
  const told = desk.feed.sections;
  const take = told?.take;
  const newest = take ?? desk.takes.at(-1);
  const own = take && take.by === desk.me?.name;
  return html`<div class="acts">
    ${!take && told?.acts.roll && desk.may("roll")
      ? html`<button class="act" aria-disabled=${dead} @click=${() => desk.roll()}>${bound(told.acts.roll.label)}</button>`
      : newest && desk.may("good")
        ? html`<button class="act" aria-disabled=${dead} @click=${() => void desk.act("write", `takes/${newest.take}/marks`, { good: true })}>Mark take ${newest.take} good</button>`
        : nothing}
    ${desk.may("call") ? html`<button class="act" aria-disabled=${dead} @click=${() => void desk.act("write", "call", {})}>Call the operator</button>` : nothing}
    ${own && told?.acts.end && desk.may("cut")
      ? html`<button id="act-end" class="act" aria-disabled=${dead} @click=${() => !dead && desk.openQuestion()}>${bound(told.acts.end.label)}</button>`
      : nothing}
  </div>`;
}

function question(desk: Desk): TemplateResult {
  const end = desk.feed.sections?.acts.end;
  if (!end || !desk.question) return html``;
  const held = Date.now() < desk.question.pressAt || !desk.live;
  return html`<div class="question" role="alertdialog" aria-labelledby="ask-say">
    <p id="ask-say">${bound(end.ask)} ${desk.question.changed}</p>
    <div class="acts">
      <button id="do-end" class="act ends" aria-disabled=${held} @click=${() => desk.end()}>${bound(end.do)}</button>
      <button id="keep" class="act keep" @click=${() => desk.keepRolling()}>Keep rolling</button>
    </div>
  </div>`;
}
