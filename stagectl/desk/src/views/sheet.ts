// What is happening, and what happened today? Takes as entries, whole ones folded to a line, so that only faults unfold.
import { html, nothing, type TemplateResult } from "lit";
import { guard } from "lit/directives/guard.js";
import { repeat } from "lit/directives/repeat.js";
import { overlap } from "../charts/overlap";
import type { Desk } from "../desk";
import { type Bar, bars, envelope, lane, lensName } from "../lane";
import { mark } from "../marks";
import { follow } from "../parts/contents";
import type { Entry, Take } from "../shapes";
import { bound, clock, dayOf, ranS, timeOfDay } from "../text";

const KINDS = ["scene", "desk", "call", "hand", "daemon"]; // of the journal, told between takes
const LINES = 600;

type Line = { at: number; key: string } & ({ take: Take } | { entry: Entry });

export function sheet(desk: Desk): TemplateResult {
  const open = desk.feed.sections?.take?.take;
  const lines: Line[] = [
    ...desk.takes.filter((take) => take.take !== open).map((take) => ({ at: Date.parse(take.opened), key: `t${take.take}`, take })),
    ...desk.feed.entries
      .filter((entry) => KINDS.includes(entry.kind) && entry.say)
      .map((entry) => ({ at: Date.parse(entry.at), key: `e${entry.n}`, entry })),
  ];
  lines.sort((a, b) => a.at - b.at);
  const shown = lines.slice(-LINES);
  return html`<h2 class="view-title">Sheet</h2>
    <p class="paper-only">${desk.site?.name ?? ""}, ${dayOf(desk.feed.now(), desk.feed.zoneMin)}. The journal stands at line ${desk.feed.entries.at(-1)?.n ?? 0}.</p>
    ${desk.older
      ? html`<p><button class="act quiet" aria-disabled=${!desk.live} @click=${() => void desk.readOlder()}>Show older takes</button>
          <span class="paper-only">Earlier takes are left out here. The sheet with all of them is at /?look=print</span></p>`
      : nothing}
    ${shown.length === 0 ? html`<p class="second">${open === undefined ? "No take yet. What is rolled is written here." : "The first take is being written below."}</p>` : nothing}
    <ol class="sheet">
      ${repeat(
        shown,
        (line) => line.key,
        (line) => ("take" in line ? written(desk, line.take) : guard([line.entry], () => other(desk, line.entry))),
      )}
    </ol>`;
}

/** What is written stays: an entry is drawn again only when its take became another, or it is unfolded. */
function written(desk: Desk, take: Take): unknown {
  const unfolded = desk.query.get("take") === String(take.take);
  const print = desk.query.get("look") === "print";
  return unfolded ? entry(desk, take) : guard([take, unfolded, print, desk.feed.zoneMin], () => entry(desk, take));
}

function other(desk: Desk, line: Entry): TemplateResult {
  return html`<li class="line"><time>${timeOfDay(line.at, desk.feed.zoneMin).slice(0, 5)}</time><p>${bound(line.say)}</p></li>`;
}

function entry(desk: Desk, take: Take): TemplateResult {
  const unfolded = desk.query.get("take") === String(take.take) || desk.query.get("look") === "print";
  const drawn = bars(take, desk.feed.now());
  const all = [...drawn.values()];
  const odd = [...drawn].filter(([device]) => oddness(take, device) !== "");
  const rolled = all.filter((bar) => bar.start !== null).length;
  const title = html`<span class="number">Take ${take.good ? html`<span class="ring">${take.take}</span><span class="unseen"> good</span>` : take.take}</span>
    <span class="title">${take.name}</span>`;
  return html`<li class="take-entry" id="take-${take.take}">
    <article aria-label="Take ${take.take}">
      <time>${timeOfDay(take.opened, desk.feed.zoneMin).slice(0, 5)}</time>
      <h3>
        <a href=${unfolded ? "/" : `/?take=${take.take}`} aria-expanded=${unfolded}
          @click=${follow(desk, "sheet", unfolded ? {} : { take: String(take.take) })}>${title}</a>
      </h3>
      <span class="clock">${clock(ranS(take, desk.feed.now()))}</span>
      <div class="drawn">${lane(envelope(all), all, "proven")}</div>
      <p class="phrase">
        ${rolled < all.length || odd.length ? html`${mark("now")} ` : nothing}${rolled - odd.filter(([, bar]) => bar.start !== null).length}
        of ${all.length} whole${take.spread ? bound(`, spread ${take.spread.frames} ${take.spread.frames === 1 ? "frame" : "frames"}${take.spread.give ? `, give or take ${take.spread.give}` : ""}`) : ""}
      </p>
      ${odd.length && !unfolded ? oddLanes(desk, take, odd, all) : nothing}
      ${unfolded ? detail(desk, take, drawn, all) : nothing}
    </article>
  </li>`;
}

/** What is special about a recorder of a take; empty: it is whole. */
function oddness(take: Take, device: string): string {
  const own = take.lanes.filter((one) => one.device === device);
  const last = own.at(-1);
  if (!last) return "did not roll";
  if (take.unseen.includes(device)) return "not seen to the end";
  if (own.length > 1) return `${own.length} recordings`;
  if (last.note) return last.note;
  const early = last.ended !== null && take.closed !== null && Date.parse(take.closed) - Date.parse(last.ended) > 3000;
  return early ? "stopped before the end" : "";
}

function oddLanes(desk: Desk, take: Take, odd: [string, Bar][], all: Bar[]): TemplateResult {
  return html`<ul class="lanes">
    ${odd.map(
      ([device, bar]) => html`<li class="failed">
        <span class="who">${bound(desk.called(device))}</span><span class="words">${mark("now")} ${oddness(take, device)}</span>
        ${lane(bar, all, bar.start === null ? "failed" : "proven")}
      </li>`,
    )}
  </ul>`;
}

function detail(desk: Desk, take: Take, drawn: Map<string, Bar>, all: Bar[]): TemplateResult {
  return html`<div class="detail">
    <p>${bound(take.say ?? "")}</p>
    ${take.notes.map((note) => html`<p class="note">${noted(desk, note)}</p>`)}
    <ul class="lanes">
      ${[...drawn].map(
        ([device, bar]) => html`<li class=${bar.start === null ? "failed" : "proven"}>
          <span class="who">${desk.called(device)}</span>
          <span class="words">${oddness(take, device) ? html`${mark("now")} ${oddness(take, device)}` : nothing}</span>
          ${lane(bar, all, bar.start === null ? "failed" : "proven")}
        </li>`,
      )}
    </ul>
    ${lensName(all) ? html`<p class="second">${lensName(all)}</p>` : nothing}
    <div class="scroll" tabindex="0" role="region" aria-label="Clips of take ${take.take}">
      <table>
        <caption class="unseen">Clips of take ${take.take}</caption>
        <thead><tr><th>Recorder</th><th>Clip</th><th>First label</th><th>Last label</th><th>After the first</th></tr></thead>
        <tbody>
          ${[...drawn.keys()].flatMap((device) => take.lanes.filter((one) => one.device === device)).map(
            (one) => html`<tr>
              <th scope="row">${bound(one.called)}</th>
              <td class="clip">${one.clip || "not told yet"}</td>
              <td>${one.start_exact || !one.start ? "" : "about "}${one.start || "not known"}</td>
              <td>${one.end || (one.ended ? "not known" : "rolls")}</td>
              <td>${one.offset === null ? "not known" : bound(`${one.offset} ${one.offset === 1 ? "frame" : "frames"}`)}</td>
            </tr>`,
          )}
        </tbody>
      </table>
    </div>
    ${overlap(take)}
    ${desk.may("good")
      ? html`<p><button class="act" aria-disabled=${!desk.live} @click=${() => void desk.act(`take ${take.take}`, `takes/${take.take}/marks`, { good: !take.good })}>
          ${take.good ? `Take ${take.take} is not good` : `Mark take ${take.take} good`}
        </button> <span role="status">${desk.said.get(`take ${take.take}`)?.text ?? ""}</span></p>`
      : nothing}
  </div>`;
}

/** A note as it is kept, "<stamp> <who>: <text>", with the time of day here. */
function noted(desk: Desk, note: string): string {
  const [stamp, ...rest] = note.split(" ");
  return stamp && !Number.isNaN(Date.parse(stamp)) ? `${timeOfDay(stamp, desk.feed.zoneMin)} ${rest.join(" ")}` : note;
}
