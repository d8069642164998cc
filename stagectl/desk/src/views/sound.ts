// What level is each channel, who moved it? Rows; a step is always a ramp, and a hand on the box wins.
import { html, nothing, type TemplateResult } from "lit";
import type { Desk } from "../desk";
import { mark } from "../marks";
import type { Device, Point } from "../shapes";
import { plain } from "../text";
import { age, finder } from "./common";

const LOW = -60; // dB, left end of the drawn range
const HIGH = 10;

export function sound(desk: Desk): TemplateResult {
  const mixers = desk.devices.filter((device) => device.kind === "mixer");
  return html`<h2 class="view-title">Sound</h2>
    ${finder(desk, "Find a channel")}
    <p class="second">Every step is a ramp. Monitors stand near ears: the ceiling of the site holds.</p>
    ${mixers.map((mixer) => html`<h3>${mixer.called}</h3>
      <ul class="rows levels">${rows(desk, mixer, "strip", "strips")}${rows(desk, mixer, "bus", "buses")}</ul>`)}`;
}

function rows(desk: Desk, mixer: Device, kind: string, counted: string): TemplateResult[] {
  const count = Number(desk.feed.point(mixer.id, counted)?.value ?? 0);
  return Array.from({ length: count }, (_, i) => i + 1)
    .map((number) => ({ number, name: String(desk.feed.point(mixer.id, `${kind}.${number}.name`)?.value ?? "") }))
    .filter(({ name }) => name.toLowerCase().includes(desk.find.toLowerCase()))
    .map(({ number, name }) => row(desk, mixer, kind, number, name));
}

function row(desk: Desk, mixer: Device, kind: string, number: number, name: string): TemplateResult {
  const level = desk.feed.point(mixer.id, `${kind}.${number}.level`);
  const muted = desk.feed.point(mixer.id, `${kind}.${number}.muted`);
  const who = `${kind === "bus" ? "Bus" : "Ch"}\u00a0${number}`;
  const place = `level ${mixer.id} ${kind} ${number}`;
  const set = (point: string, value: number | boolean): void =>
    void desk.act(place, "commands?wait=verdict", { target: mixer.id, verb: "set", args: { point: `${kind}.${number}.${point}`, value } });
  const step = (by: number): void => {
    if (typeof level?.value === "number") set("level", Math.min(HIGH, Math.round((level.value + by) * 10) / 10));
  };
  const said = desk.said.get(place);
  const mute = muted?.value === true;
  const named = `${who} ${name}`;
  return html`<li class="row level ${level?.quality ?? "unknown"}">
    <span class="who">${who} ${name}</span>
    <span class="value">${plain(level?.value ?? null, "dB")}${mute ? ", muted" : ""}</span>
    ${bar(level)}
    ${desk.may("level")
      ? html`<span class="steps">
          <button class="small" aria-disabled=${!desk.live} aria-label="${named}: 1 dB less" @click=${() => step(-1)}>−1</button>
          <button class="small" aria-disabled=${!desk.live} aria-label="${named}: 1 dB more" @click=${() => step(1)}>+1</button>
          <button class="small" aria-disabled=${!desk.live} aria-expanded=${desk.choosing === place} aria-label="Set ${named} to a level" @click=${() => ((desk.choosing = desk.choosing === place ? null : place), desk.draw())}>to...</button>
          <button class="small" aria-disabled=${!desk.live} aria-label="${mute ? "Unmute" : "Mute"} ${named}" @click=${() => set("muted", !mute)}>${mute ? "unmute" : "mute"}</button>
        </span>`
      : nothing}
    <span class="about">${desk.asked(place) ? html`${mark("asked")} asked` : age(desk, level)}</span>
    ${desk.choosing === place ? to(desk, named, level, (value) => set("level", value)) : nothing}
    ${said?.bad ? html`<span class="said bad" role="status">${said.text}</span>` : nothing}
  </li>`;
}

/** The form for a level of one's own; the way there is a ramp all the same. */
function to(desk: Desk, named: string, level: Point | undefined, set: (value: number) => void): TemplateResult {
  const keep = (event: SubmitEvent): void => {
    event.preventDefault();
    const value = Number(new FormData(event.target as HTMLFormElement).get("db"));
    desk.choosing = null;
    if (Number.isFinite(value)) set(value);
  };
  return html`<form class="small-form choose" @submit=${keep}>
    <label for="db">Level of ${named}, dB</label>
    <input id="db" name="db" type="number" step="0.5" min="-138" max=${HIGH} required value=${typeof level?.value === "number" ? level.value : 0} />
    <button class="act" type="submit">Ramp to it</button>
  </form>`;
}

function bar(level: Point | undefined): TemplateResult {
  const at = typeof level?.value === "number" ? ((Math.max(LOW, level.value) - LOW) / (HIGH - LOW)) * 100 : 0;
  const zero = ((0 - LOW) / (HIGH - LOW)) * 100;
  return html`<svg class="level-bar" width="100%" height="14" aria-hidden="true">
    <rect class="well" x="0" y="5" width="100%" height="4"></rect>
    <rect class="ink" x="0" y="4" width=${`${at}%`} height="6"></rect>
    <rect class="tick" x=${`${zero}%`} y="1" width="1.5" height="12"></rect>
  </svg>`;
}
