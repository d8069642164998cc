// Is each box there, and how do we know?
import { html, nothing, type TemplateResult } from "lit";
import { repeat } from "lit/directives/repeat.js";
import type { Desk } from "../desk";
import { mark } from "../marks";
import { follow } from "../parts/contents";
import type { Alarm, Device } from "../shapes";
import { bound, timeOfDay, value } from "../text";
import { age, finder } from "./common";

export function kit(desk: Desk): TemplateResult {
  const read = desk.watched<{ devices: Device[] }>("devices")?.devices ?? desk.devices;
  const box = desk.devices.find((one) => one.id === desk.query.get("box"));
  if (box) return detail(desk, box);
  const text = desk.find.toLowerCase();
  const found = read.filter((one) => `${one.called} ${one.id} ${one.kind}`.toLowerCase().includes(text));
  const order = [...found].sort((a, b) => Number(a.health === "well") - Number(b.health === "well"));
  const later = (desk.feed.sections?.wrong ?? []).filter((row) => row.grade === "later");
  const aside = (desk.watched<{ alarms: Alarm[] }>("alarms")?.alarms ?? []).filter((row) => row.aside !== null);
  return html`<h2 class="view-title">Kit</h2>
    ${later.length || aside.length ? html`<ul class="rows notes">${later.map(note)}${aside.map((row) => put(desk, row))}</ul>` : nothing} ${finder(desk, "Find a box")}
    <ul class="rows kit">${repeat(
      order,
      (one) => one.id,
      (one) => line(desk, one),
    )}</ul>
    ${order.length === 0 ? html`<p class="second">No box is called so.</p>` : nothing}`;
}

function note(row: Alarm): TemplateResult {
  return html`<li class="row">${mark("soon")} <span>${row.say} ${row.remedy}</span></li>`;
}

/** What somebody put aside: why, who, and when it is back. */
function put(desk: Desk, row: Alarm): TemplateResult {
  const until = row.aside ? timeOfDay(row.aside.until, desk.feed.zoneMin).slice(0, 5) : "";
  return html`<li class="row aside-row">${mark("key")} <span>${bound(row.say)} <span class="second">Put aside by ${row.aside?.by} until ${until}: ${row.aside?.reason}</span></span></li>`;
}

const WORDS: Record<string, string> = {
  well: "well",
  failed: "not reached",
  local: "under its own front",
  doubtful: "not to be believed",
  "needs-care": "needs care",
};

function line(desk: Desk, box: Device): TemplateResult {
  const fine = box.health === "well";
  return html`<li class="row ${fine ? "" : "doubt"}">
    <span class="who"><a href="/kit?box=${box.id}" @click=${follow(desk, "kit", { box: box.id })}>${box.called}</a></span>
    <span class="value">${fine ? nothing : mark("soon")} ${WORDS[box.health] ?? "not known"}${box.why ? `: ${box.why}` : ""}</span>
    <span class="about">${box.kind}, ${box.at}</span>
  </li>`;
}

function detail(desk: Desk, box: Device): TemplateResult {
  const text = desk.find.toLowerCase();
  const points = desk.feed.of(box.id).filter((point) => point.name.includes(text));
  const state = WORDS[String(desk.feed.point(box.id, "health")?.value)] ?? "not known";
  points.sort((a, b) => a.name.localeCompare(b.name, "en", { numeric: true }));
  return html`<p><a class="back" href="/kit" @click=${follow(desk, "kit")}>Kit</a></p>
    <h2 class="view-title">${box.called}</h2>
    <p>${state.slice(0, 1).toUpperCase()}${state.slice(1)}: a ${box.kind}, spoken to as ${box.box}, at ${box.at}.</p>
    ${finder(desk, "Find a value")}
    <div class="scroll" tabindex="0" role="region" aria-label="Values of ${box.called}">
      <table>
        <caption class="unseen">Values of ${box.called}</caption>
        <thead><tr><th scope="col">What</th><th scope="col">Value</th><th scope="col">How we know</th></tr></thead>
        <tbody>
          ${repeat(points, (point) => point.name, (point) => html`<tr class=${point.quality}>
              <th scope="row">${point.name.replaceAll(".", " ")}</th>
              <td>${point.value === "" ? html`<span class="second">empty</span>` : value(point)}</td>
              <td>${age(desk, point)}</td>
            </tr>`)}
        </tbody>
      </table>
    </div>`;
}
