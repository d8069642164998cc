// How should it be, and what differs? The difference is the question; what rolls is left alone and said.
import { html, nothing, type TemplateResult } from "lit";
import { repeat } from "lit/directives/repeat.js";
import type { Desk } from "../desk";
import { mark } from "../marks";
import { follow } from "../parts/contents";
import type { Difference, Setups } from "../shapes";
import { bound } from "../text";
import { unread } from "./common";

export function setups(desk: Desk): TemplateResult {
  const told = desk.watched<Setups>("setups");
  const name = desk.query.get("setup");
  if (!told) return html`<h2 class="view-title">Set-ups</h2>${unread(desk, "the set-ups")}`;
  if (name !== null && told.setups.some((one) => one.name === name)) return difference(desk, name);
  return html`<h2 class="view-title">Set-ups</h2>
    <p>${bound(told.say)}</p>
    <ul class="rows">
      ${told.setups.map(
        (one) => html`<li class="row">
          <span class="who"><a href="/setups?setup=${one.name}" @click=${follow(desk, "setups", { setup: one.name })}>${one.called}</a></span>
          <span class="value">${one.problem || one.about}</span>
          <span class="about">${one.differ ? bound(`${one.differ} of ${one.values} differ`) : `all ${one.values} agree`}${one.unknown ? `, ${one.unknown} not known` : ""}</span>
        </li>`,
      )}
    </ul>`;
}

function difference(desk: Desk, name: string): TemplateResult {
  const told = desk.watched<Difference>(`setups/${name}/diff`);
  const place = "setups";
  const said = desk.said.get(place);
  const rows = (told?.rows ?? []).filter((row) => row.truth !== "yes");
  const left = rows.filter((row) => row.refused);
  return html`<p><a class="back" href="/setups" @click=${follow(desk, "setups")}>Set-ups</a></p>
    <h2 class="view-title">${told?.called ?? name}</h2>
    ${told ? html`<p>${bound(told.say)}${left.length ? ` ${left.length} are left alone.` : ""}</p>` : unread(desk, "what differs")}
    ${told && desk.may("apply")
      ? html`<p class="acts-line">
          ${rows.length > left.length
            ? html`<button class="act" aria-disabled=${!desk.live} @click=${() => void desk.act(place, `setups/${name}/apply?wait=verdict`, {})}>
                ${desk.asked(place) ? "Asked" : `Recall ${rows.length - left.length} of ${rows.length}`}
              </button>`
            : nothing}
          <button class="act quiet" aria-disabled=${!desk.live} @click=${() => void desk.act(place, "setups/undo?wait=verdict", {})}>Put back what the last recall changed</button>
        </p>
        <p role="status" class=${said?.bad ? "bad" : ""}>${said ? bound(said.text) : nothing}</p>`
      : nothing}
    <ul class="rows differences">
      ${repeat(
        rows,
        (row) => `${row.device} ${row.point}`,
        (row) => html`<li class="row">
          <span class="who">${row.refused ? mark("key") : row.truth === "unknown" ? mark("unknown") : nothing} ${bound(who(desk, row.device))}</span>
          <span class="value">${bound(what(desk, row))}</span>
          ${row.refused ? html`<span class="way">Left alone: ${row.refused} ${row.remedy}</span>` : nothing}
        </li>`,
      )}
    </ul>
    ${told && rows.length === 0 ? html`<p>All is as set up.</p>` : nothing}`;
}

function who(desk: Desk, device: string): string {
  const name = desk.called(device);
  return name.slice(0, 1).toUpperCase() + name.slice(1);
}

/** The sentence names the box; so does its row. */
function what(desk: Desk, row: Difference["rows"][number]): string {
  const name = `${desk.called(row.device)} `;
  if (!row.say.startsWith(name)) return row.say;
  const rest = row.say.slice(name.length);
  return rest.slice(0, 1).toUpperCase() + rest.slice(1);
}
