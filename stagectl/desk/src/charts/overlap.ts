// Where do the recordings of a take overlap? By their own labels, with a bracket over what all share.
import { html, nothing, svg, type TemplateResult } from "lit";
import type { Take } from "../shapes";
import { bound, frames, perSecond } from "../text";
import { figure } from "./figure";

const ROW = 20;

export function overlap(take: Take): TemplateResult {
  const rate = perSecond(take.lanes[0]?.format ?? "");
  const own = take.lanes
    .map((lane) => ({ lane, from: frames(lane.start, rate), to: frames(lane.end, rate) }))
    .filter((one): one is { lane: (typeof take.lanes)[number]; from: number; to: number } => one.from !== null && one.to !== null);
  if (!take.common || own.length < 2) return html``;
  const begin = Math.min(...own.map((one) => one.from));
  const whole = Math.max(...own.map((one) => one.to)) - begin || 1;
  const at = (frame: number): string => `${((frame - begin) / whole) * 100}%`;
  const first = frames(take.common.first, rate) ?? begin;
  const last = frames(take.common.last, rate) ?? begin;
  const drawn = html`<svg class="overlap" width="100%" height=${(own.length + 1) * ROW} aria-hidden="true">
    ${own.map(
      ({ from, to }, i) => svg`<rect class="ink" x=${at(from)} y=${i * ROW + 5} width=${`${((to - from) / whole) * 100}%`} height=${ROW - 10}/>`,
    )}
    ${svg`<rect class="bracket" x=${at(first)} y=${own.length * ROW + 4} width=${`${Math.max(0.5, ((last - first) / whole) * 100)}%`} height="3"/>
      <rect class="bracket" x=${at(first)} y=${own.length * ROW - 2} width="1.5" height="8"/>`}
  </svg>`;
  const say = `All share ${take.common.first} to ${take.common.last}, ${take.common.frames} frames.`;
  const rows = own.map(({ lane, from, to }) => [
    lane.called,
    lane.start,
    lane.end,
    bound(`${Math.max(0, first - from)} frames`),
    bound(`${Math.max(0, to - last)} frames`),
  ]);
  return html`${figure("Overlap", bound(say), drawn, { head: ["Recorder", "First label", "Last label", "Before", "After"], rows })}${nothing}`;
}
