// How far is each timecode from the others? One row a box, six frames each way; the whisker is what is not known.
import { html, svg, type TemplateResult } from "lit";
import type { Clocks } from "../shapes";
import { bound } from "../text";
import { figure } from "./figure";

const MOST = 6; // frames either way; beyond it a mark stands at the edge with its number
const ROW = 24;

export function offsets(told: Clocks): TemplateResult {
  const known = told.clocks.filter((one) => one.offset !== null);
  if (known.length === 0) return html``;
  const at = (frames: number): string => `${50 + (Math.max(-MOST, Math.min(MOST, frames)) / MOST) * 46}%`;
  const odd = told.clocks.filter((one) => one.state !== "in step");
  const say = odd.length
    ? odd.map((one) => `${one.called}'s timecode is ${one.state}.`).join(" ")
    : `All ${told.clocks.length} timecodes are in step, within ${told.within} ${told.within === 1 ? "frame" : "frames"}.`;
  const drawn = html`<div class="left-rows" aria-hidden="true">
    ${told.clocks.map((one) => {
      const offset = one.offset ?? 0;
      const give = one.give ?? 0;
      return html`<span class="who">${bound(one.called)}</span>
        <svg width="100%" height=${ROW}>
          <rect class="well" x="4%" y=${ROW / 2 - 1} width="92%" height="2"></rect>
          <rect class="tick" x=${at(0)} y="2" width="1" height=${ROW - 4}></rect>
          ${one.offset === null
            ? svg`<rect class="hollow" x=${at(-1)} y=${ROW / 2 - 4} width="15%" height="8" stroke-dasharray="3 3"/>`
            : svg`<rect class="pencil" x=${at(offset - give)} y=${ROW / 2 - 2} width=${`${Math.max(0.3, (give * 2 * 46) / MOST)}%`} height="4"/>
                <rect class="ink" x=${at(offset)} y=${ROW / 2 - 8} width="3" height="16"/>`}
        </svg>
        <span class="amount">${amount(one)}</span>`;
    })}
  </div>`;
  const rows = told.clocks.map((one) => [one.called, amount(one), one.give === null ? "not known" : one.give.toFixed(2), one.rate, one.label]);
  return figure("Timecode offsets", bound(say), drawn, { head: ["Recorder", "Offset", "Give or take", "Rate", "Timecode"], rows });
}

function amount(one: Clocks["clocks"][number]): string {
  if (one.offset === null) return one.state;
  const frames = Math.round(one.offset * 10) / 10;
  const sign = frames > 0 ? "+" : frames < 0 ? "\u2212" : "";
  return bound(`${sign}${Math.abs(frames)} frames${one.rate.includes(";") ? ", drop-frame" : ""}`);
}
