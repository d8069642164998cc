// How far apart did the recorders of each take begin? A column a take; hollow where a recorder was missing.
import { html, svg, type TemplateResult } from "lit";
import type { Desk } from "../desk";
import { bound } from "../text";
import { figure } from "./figure";

const TAKES = 40;
const HIGH = 90;
const LIMIT = 12; // frames, drawn as a rule: beyond it a lens can't show the start

export function spread(desk: Desk): TemplateResult {
  const say = desk.feed.sections?.pictures["spread"];
  const takes = desk.takes.filter((take) => take.spread !== null).slice(-TAKES);
  if (!say || takes.length === 0) return html``;
  const most = Math.max(LIMIT, ...takes.map((take) => take.spread?.frames ?? 0));
  const wide = 100 / Math.max(takes.length, 12);
  const drawn = html`<svg class="columns" width="100%" height=${HIGH + 18} aria-hidden="true">
    <rect class="tick" x="0" y=${HIGH - (LIMIT / most) * (HIGH - 14)} width="100%" height="1"></rect>
    <rect class="tick" x="0" y=${HIGH} width="100%" height="1"></rect>
    ${takes.map((take, i) => {
      const frames = take.spread?.frames ?? 0;
      const high = Math.max(2, (frames / most) * (HIGH - 14));
      const missing = new Set(take.lanes.map((lane) => lane.device)).size < take.wanted.length;
      return svg`<rect class=${missing ? "hollow" : "ink"} x=${`${i * wide + wide * 0.2}%`} y=${HIGH - high} width=${`${wide * 0.5}%`} height=${high}/>
        <text x=${`${i * wide + wide * 0.45}%`} y=${HIGH - high - 4} text-anchor="middle">${frames}</text>
        <text x=${`${i * wide + wide * 0.45}%`} y=${HIGH + 15} text-anchor="middle">${take.take}</text>`;
    })}
  </svg>`;
  const rows = takes.map((take) => [
    `Take ${take.take}`,
    bound(`${take.spread?.frames} ${take.spread?.frames === 1 ? "frame" : "frames"}`),
    String(take.spread?.give ?? 0),
    `${new Set(take.lanes.map((lane) => lane.device)).size} of ${take.wanted.length}`,
  ]);
  return figure("Spread of each take", bound(say), drawn, { head: ["Take", "Spread", "Give or take", "Recorders"], rows });
}
