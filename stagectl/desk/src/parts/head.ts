// What is the first thing read? The sentence, who holds the desk, and how far behind this page is.
import { html, nothing, type TemplateResult } from "lit";
import type { Desk } from "../desk";
import { bound, timeOfDay } from "../text";

export function head(desk: Desk): TemplateResult {
  const { feed } = desk;
  const say = feed.sections?.say ?? "";
  return html`<header class="head">
    <div class="told">
      ${feed.life === "live" ? nothing : lost(desk)}
      <h1 id="sentence" tabindex="-1">${sentences(feed.life === "live" ? say : `Was: ${say}`)}</h1>
    </div>
    <div class="aside">
      ${holder(desk)}
      <p class="lag ${feed.slow ? "slow" : ""}">${bound(feed.lag())}</p>
    </div>
  </header>`;
}

/** The first sentence stands out; what follows is second. */
function sentences(text: string): TemplateResult {
  const at = text.search(/[.:] (?=\S)/);
  if (at < 0 || text.startsWith("Was: ")) return html`${bound(text)}`;
  return html`${bound(text.slice(0, at + 1))} <span class="more">${bound(text.slice(at + 2))}</span>`;
}

/** The one thing the daemon can't say: that it is not heard. */
function lost(desk: Desk): TemplateResult {
  const { feed } = desk;
  const at = timeOfDay(feed.heardAt, feed.zoneMin);
  const ago = Math.round(feed.agoMs() / 1000);
  return html`<div class="lost-banner" role="alert">
    <p><strong>This page has lost stagectl.</strong> Shown: ${at}<span class="ago">, ${bound(`${ago} s`)} ago</span>.</p>
    <p>Recorders go on by themselves. Nothing can be sent from here now, and no press is kept for later. Trying again.</p>
  </div>`;
}

function holder(desk: Desk): TemplateResult {
  const told = desk.feed.sections?.desk;
  const me = desk.me?.name ?? "";
  if (!told || !desk.may("hold") || desk.view === "wall" || desk.view === "card") return told?.holder ? html`<p class="holder">${told.say}</p>` : html``;
  const act = (word: string, to = ""): void => void desk.act("desk", "desk", to ? { act: word, to } : { act: word });
  const said = desk.said.get("desk");
  return html`<div class="holder">
    <p class="who ${told.holder ? "" : "nobody"}">${told.holder === me && me ? "You hold the desk." : told.say}${told.holder === me && told.asker ? html` ${told.asker} asks for it.` : nothing}</p>
    <p class="acts">
      ${told.holder === ""
        ? html`<button class="small" aria-disabled=${!desk.live} @click=${() => act("take")}>Hold the desk</button>`
        : told.holder !== me
          ? told.asker === me && (told.free_s ?? 1) <= 0
            ? html`<button class="small" aria-disabled=${!desk.live} @click=${() => act("take")}>Take the desk</button>`
            : html`<button class="small" aria-disabled=${told.asker === me || !desk.live} @click=${() => act("ask")}>
                ${told.asker === me ? "Asked for it" : "Ask for it"}
              </button>`
          : told.asker
            ? html`<button class="small" aria-disabled=${!desk.live} @click=${() => act("give", told.asker)}>Hand over to ${told.asker}</button>
                <button class="small" aria-disabled=${!desk.live} @click=${() => act("keep")}>Not now</button>`
            : html`<button class="small" aria-disabled=${!desk.live} @click=${() => act("give")}>Leave the desk</button>`}
    </p>
    ${said?.bad ? html`<p class="bad" role="status">${said.text}</p>` : nothing}
  </div>`;
}
