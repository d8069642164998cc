// What level is each channel, who moved it? Rows; a step is always a ramp, and a hand on the box wins.
import { html, nothing, svg, type TemplateResult } from "lit";
import type { Desk } from "../desk";
import { mark } from "../marks";
import type { Device, Point, Rise } from "../shapes";
import { bound, plain } from "../text";
import { age, finder, unread } from "./common";

const LOW = -60; // dB, left end of the drawn range
const HIGH = 10;

export function sound(desk: Desk): TemplateResult {
  const others = (desk.feed.sections?.rises ?? []).filter((rise) => !/^(strip|bus)\.\d+\.level$/.test(rise.point));
  const mixers = desk.devices.filter((device) => device.kind === "mixer");
  return html`<h2 class="view-title">Sound</h2>
    ${finder(desk, "Find a channel")}
    <div class="ways-up">${others.length
      ? html`<ul class="rows rises" aria-label="What rises">${others.map((rise) => other(desk, rise))}</ul>`
      : html`<p class="second">A rise is a ramp, a fall is done at once. Monitors stand near ears: nothing asked for here goes over a ceiling.</p>`}</div>
    ${mixers.map((mixer) => html`<h3>${mixer.called}</h3>
      ${known(desk, mixer)
        ? html`<ul class="rows levels">${rows(desk, mixer, "strip", "strips")}${rows(desk, mixer, "bus", "buses")}</ul>`
        : unread(desk, "its levels")}`)}`;
}

/** A level that has no row here, such as a send. */
function other(desk: Desk, rise: Rise): TemplateResult {
  const said = desk.said.get(placeOf(rise));
  return html`<li class="row"><span class="value">${mark("asked")} ${bound(rise.say)}</span>
    ${desk.may("level") ? halt(desk, rise) : nothing}
    ${said?.bad ? html`<span class="said bad" role="status">${bound(said.text)}</span>` : nothing}</li>`;
}

function placeOf(rise: Rise): string {
  return `rise ${rise.device} ${rise.point}`;
}

/** Ends a rise where it is, whoever asked for it. Its place is kept while nothing rises: what can be pressed never moves. */
function halt(desk: Desk, rise: Rise | undefined): TemplateResult {
  const stop = (): void => {
    if (rise && desk.live) void desk.act(placeOf(rise), "commands?wait=verdict", { target: rise.device, verb: "stay", args: { point: rise.point } });
  };
  return html`<button class="halt ${rise ? "" : "gone"}" aria-disabled=${!desk.live} aria-label=${rise ? `Stop here: ${rise.say}` : nothing} @click=${stop}>Stop here</button>`;
}

function known(desk: Desk, mixer: Device): boolean {
  return desk.feed.point(mixer.id, "strips") !== undefined || desk.feed.point(mixer.id, "buses") !== undefined;
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
    if (typeof level?.value === "number") set("level", Math.min(most, Math.round((level.value + by) * 10) / 10));
  };
  const ceiling = ceilingOf(desk, mixer.id, `${kind}.${number}.level`);
  const most = Math.min(HIGH, ceiling ?? HIGH);
  const rise = desk.feed.sections?.rises.find((one) => one.device === mixer.id && one.point === `${kind}.${number}.level`);
  const said = desk.said.get(place) ?? (rise ? desk.said.get(placeOf(rise)) : undefined);
  const mute = muted?.value === true;
  const named = `${who} ${name}`;
  return html`<li class="row level ${level?.quality ?? "unknown"}">
    <span class="who">${who} ${name}</span>
    <span class="value">${plain(level?.value ?? null, "dB")}${mute ? ", muted" : ""}${ceiling === null ? nothing : html`<span class="ceiling"> ceiling ${plain(ceiling, "dB")}</span>`}</span>
    ${bar(level, ceiling, rise?.to ?? null)}
    ${desk.may("level")
      ? html`<span class="steps">
          <button class="small" aria-disabled=${!desk.live} aria-label="${named}: 1 dB less" @click=${() => step(-1)}>−1</button>
          <button class="small" aria-disabled=${!desk.live} aria-label="${named}: 1 dB more" @click=${() => step(1)}>+1</button>
          <button class="small" aria-disabled=${!desk.live} aria-expanded=${desk.choosing === place} aria-label="Set ${named} to a level" @click=${() => ((desk.choosing = desk.choosing === place ? null : place), desk.draw())}>to...</button>
          <button class="small" aria-disabled=${!desk.live} aria-label="${mute ? "Unmute" : "Mute"} ${named}" @click=${() => set("muted", !mute)}>${mute ? "unmute" : "mute"}</button>
          ${halt(desk, rise)}
        </span>`
      : nothing}
    <span class="about">${rise ? html`${mark("asked")} rises to ${plain(rise.to, "dB")}${rise.who ? `, ${rise.who}` : ""}` : desk.asked(place) ? html`${mark("asked")} asked` : age(desk, level)}</span>
    ${desk.choosing === place ? to(desk, named, level, most, (value) => set("level", value)) : nothing}
    ${said?.bad ? html`<span class="said bad" role="status">${said.text}</span>` : nothing}
  </li>`;
}

/** The form for a level of one's own; the way up is a ramp all the same, and ends at the ceiling. */
function to(desk: Desk, named: string, level: Point | undefined, most: number, set: (value: number) => void): TemplateResult {
  const keep = (event: SubmitEvent): void => {
    event.preventDefault();
    const value = Number(new FormData(event.target as HTMLFormElement).get("db"));
    desk.choosing = null;
    if (Number.isFinite(value)) set(value);
  };
  return html`<form class="small-form choose" @submit=${keep}>
    <label for="db">Level of ${named}, dB</label>
    <input id="db" name="db" type="number" step="0.5" min="-138" max=${most} required value=${typeof level?.value === "number" ? level.value : 0} />
    <button class="act" type="submit">Set the level</button>
  </form>`;
}

/** What the site lets it rise to, dB; null: no more than the box itself. */
function ceilingOf(desk: Desk, device: string, point: string): number | null {
  return desk.site?.limits.find((one) => one.device === device && one.point === point && one.most !== null)?.most ?? null;
}

/** `to`: where a rise goes, dB; what is still to come is drawn in pencil. */
function bar(level: Point | undefined, ceiling: number | null, to: number | null): TemplateResult {
  const at = typeof level?.value === "number" ? ((Math.max(LOW, level.value) - LOW) / (HIGH - LOW)) * 100 : 0;
  const zero = ((0 - LOW) / (HIGH - LOW)) * 100;
  const top = ceiling === null ? null : ((Math.max(LOW, ceiling) - LOW) / (HIGH - LOW)) * 100;
  return html`<svg class="level-bar" width="100%" height="14" aria-hidden="true">
    <rect class="well" x="0" y="5" width="100%" height="4"></rect>
    ${to === null ? nothing : svg`<rect class="coming" x=${`${at}%`} y="4.5" width=${`${Math.max(0, ((Math.max(LOW, to) - LOW) / (HIGH - LOW)) * 100 - at)}%`} height="5"/>`}
    <rect class="ink" x="0" y="4" width=${`${at}%`} height="6"></rect>
    <rect class="tick" x=${`${zero}%`} y="1" width="1.5" height="12"></rect>
    ${top === null ? nothing : svg`<rect class="over" x=${`${top}%`} y="3" width=${`${100 - top}%`} height="8"/>`}
  </svg>`;
}
