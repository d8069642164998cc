// What does each destination show, and by which way? One line each; the table of crosspoints is a second look.
import { html, nothing, type TemplateResult } from "lit";
import { ref } from "lit/directives/ref.js";
import type { Desk } from "../desk";
import { mark } from "../marks";
import type { Device, Point } from "../shapes";
import { age, finder, looks, unread } from "./common";

export function paths(desk: Desk): TemplateResult {
  const table = desk.query.get("look") === "table";
  return html`<h2 class="view-title">Paths</h2>
    ${looks(desk, "paths", "by destination", "as table")} ${table ? crosspoints(desk) : lines(desk)}`;
}

function lines(desk: Desk): TemplateResult {
  const names = (desk.site?.destinations ?? []).filter((name) => matches(desk, name));
  const all = desk.site?.destinations ?? [];
  if (all.length && !all.some((name) => shows(desk, name))) return unread(desk, "what the destinations show");
  return html`${finder(desk, "Find a destination or a source")}
    <ul class="rows">${names.map((name) => line(desk, name))}</ul>
    ${names.length === 0 ? html`<p class="second">No destination is called so.</p>` : nothing}`;
}

function matches(desk: Desk, name: string): boolean {
  const text = desk.find.toLowerCase();
  return !text || title(desk, name).toLowerCase().includes(text) || String(shows(desk, name)?.value ?? "").includes(text);
}

function shows(desk: Desk, name: string): Point | undefined {
  return desk.feed.point("paths", `${name}.shows`);
}

/** What it has at the levels beside video, and whether that is another source's: "sound of wide, a break-away". */
function beside(desk: Desk, name: string): string {
  const told = (desk.site?.levels ?? []).flatMap((level) => {
    const point = desk.feed.point("paths", `${name}.${level}.shows`);
    return point ? [`${level} of ${point.value == null ? "what is not known" : word(String(point.value))}`] : [];
  });
  if (apart(desk, name)) told.push("a break-away");
  return told.join(", ");
}

function apart(desk: Desk, name: string): boolean {
  return desk.feed.point("paths", `${name}.break_away`)?.value === true;
}

/** A recorder's name means its input. */
function title(desk: Desk, name: string): string {
  const device = desk.devices.find((one) => one.id === name);
  return device ? `${device.called} input` : word(name);
}

function word(name: string): string {
  return `${name.slice(0, 1).toUpperCase()}${name.slice(1).replaceAll("-", " ")}`;
}

function line(desk: Desk, name: string): TemplateResult {
  const point = shows(desk, name);
  const way = desk.feed.point("paths", `${name}.way`);
  const along = beside(desk, name);
  const place = `path ${name}`;
  const said = desk.said.get(place);
  const open = desk.choosing === name;
  const before = desk.before.get(name);
  const back = before !== undefined && before.now === point?.value && before.was !== before.now ? before.was : null;
  return html`<li class="row ${point?.quality ?? "unknown"}">
    <span class="who">${title(desk, name)}</span>
    <span class="value">shows <strong>${point?.value == null || point.value === "" ? "not known" : word(String(point.value))}</strong> ${age(desk, point)}
      ${along ? html`<span class="second">with ${along}</span>` : nothing}</span>
    ${desk.may("route")
      ? html`<span class="steps">${back !== null
          ? html`<button class="small" aria-disabled=${!desk.live} aria-label="Put back ${word(back)} on ${title(desk, name)}" @click=${() => route(desk, name, back)}>put back</button>`
          : nothing}<button class="small" aria-disabled=${!desk.live} aria-expanded=${open} aria-label="Change what ${title(desk, name)} shows" @click=${() => desk.live && choose(desk, open ? null : name)}>
          ${desk.asked(place) ? html`${mark("asked")} asked` : "change"}
        </button></span>`
      : nothing}
    <span class="way">${way?.value ? String(way.value) : nothing}</span>
    ${said ? html`<span class="said ${said.bad ? "bad" : ""}" role="status">${said.text}</span>` : nothing}
    ${open ? sources(desk, name) : nothing}
  </li>`;
}

function choose(desk: Desk, name: string | null): void {
  desk.choosing = name;
  desk.draw();
}

/**
 * Ask for another picture, and what goes along with it; what was there can be put back until something else changes it.
 * A break-away can't: one name does not say both.
 */
function route(desk: Desk, name: string, source: string): void {
  const was = shows(desk, name)?.value;
  if (typeof was === "string" && was && !apart(desk, name)) desk.before.set(name, { was, now: source });
  const ask = desk.site?.levels.length
    ? { verb: "route", args: { routes: `${name} = ${source}` } }
    : { verb: "set", args: { point: `${name}.shows`, value: source } };
  void desk.act(`path ${name}`, "commands?wait=verdict", { target: "paths", ...ask });
}

function sources(desk: Desk, name: string): TemplateResult {
  const now = shows(desk, name)?.value;
  const take = (source: string): void => {
    desk.choosing = null;
    route(desk, name, source);
  };
  return html`<div class="choose" @keydown=${(event: KeyboardEvent) => event.key === "Escape" && choose(desk, null)}>
    <p id="choose-${name}">What shall ${title(desk, name)} show?</p>
    <ul aria-labelledby="choose-${name}">
      ${(desk.site?.sources ?? []).map(
        (source, i) => html`<li>
          <button class="act" aria-disabled=${!desk.live} aria-current=${source === now ? "true" : nothing} @click=${() => take(source)} ${i === 0 ? ref(focused) : nothing}>
            ${word(source)}${source === now ? html`<span class="second"> now</span>` : nothing}
          </button>
        </li>`,
      )}
    </ul>
    <p><button class="act quiet" @click=${() => choose(desk, null)}>Leave it</button></p>
  </div>`;
}

function focused(element: Element | undefined): void {
  if (element instanceof HTMLElement) queueMicrotask(() => element.focus());
}

function crosspoints(desk: Desk): TemplateResult {
  return html`${desk.devices.filter((device) => device.kind === "router").map((router) => grid(desk, router))}`;
}

function grid(desk: Desk, router: Device): TemplateResult {
  const count = (name: string): number => Number(desk.feed.point(router.id, name)?.value ?? 0);
  const [inputs, outputs] = [count("inputs"), count("outputs")];
  const label = (way: string, number: number): string =>
    String(desk.feed.point(router.id, `${way}.${number}.name`)?.value || `${way} ${number}`);
  const numbers = (most: number): number[] => Array.from({ length: most }, (_, i) => i + 1);
  return html`<h3>${router.called}</h3>
    <div class="scroll" tabindex="0" role="region" aria-label="Crosspoints of ${router.called}">
      <table class="crosspoints">
        <caption class="unseen">${router.called}: outputs down, inputs across</caption>
        <thead><tr><th scope="col">Output</th><th scope="col">shows</th>${numbers(inputs).map((input) => html`<th scope="col">${label("input", input)}</th>`)}</tr></thead>
        <tbody>
          ${numbers(outputs).map((output) => {
            const point = desk.feed.point(router.id, `output.${output}.source`);
            const source = Number(point?.value ?? 0);
            return html`<tr class=${point?.quality ?? "unknown"}>
              <th scope="row">${label("output", output)}</th>
              <td>${source ? label("input", source) : "not known"} ${age(desk, point)}</td>
              ${numbers(inputs).map((input) => html`<td class="cross">${input === source ? tick() : nothing}</td>`)}
            </tr>`;
          })}
        </tbody>
      </table>
    </div>`;
}

function tick(): TemplateResult {
  return html`<svg width="14" height="14" viewBox="0 0 14 14" role="img" aria-label="yes"><path d="M2 7 L6 11 L12 3" fill="none" stroke="currentColor" stroke-width="2.4"></path></svg>`;
}
