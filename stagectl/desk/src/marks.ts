// Which mark stands beside which state? Each is drawn, and the words beside it say the same: never a mark alone.
import { svg, type TemplateResult } from "lit";
import type { State } from "./shapes";

const DRAWN: Partial<Record<State | "now" | "soon" | "good" | "house" | "key", TemplateResult>> = {
  asked: svg`<circle cx="3" cy="8" r="1.6"/><circle cx="8" cy="8" r="1.6"/><circle cx="13" cy="8" r="1.6"/>`,
  failed: svg`<rect x="6.5" y="1" width="3" height="9"/><rect x="6.5" y="12" width="3" height="3"/>`,
  now: svg`<rect x="6.5" y="1" width="3" height="9"/><rect x="6.5" y="12" width="3" height="3"/>`,
  soon: svg`<path d="M8 2 L15 14 H1 Z" fill="none" stroke="currentColor" stroke-width="2"/>`,
  doubtful: svg`<path d="M8 2 L15 14 H1 Z" fill="none" stroke="currentColor" stroke-width="2"/>`,
  unconfirmed: svg`<path d="M4 5 a4 4 0 1 1 5 4 q-1 .5 -1 2" fill="none" stroke="currentColor" stroke-width="2.2"/><circle cx="8" cy="14" r="1.5"/>`,
  stale: svg`<path d="M1 9 q3.5 -5 7 0 t7 0" fill="none" stroke="currentColor" stroke-width="2.2"/>`,
  unknown: svg`<rect x="3" y="7" width="10" height="2.4"/>`,
  good: svg`<circle cx="8" cy="8" r="6" fill="none" stroke="currentColor" stroke-width="2"/>`,
  house: svg`<path d="M1.5 8 L8 2 L14.5 8 M3.5 7 V14 H12.5 V7" fill="none" stroke="currentColor" stroke-width="1.8"/>`,
  key: svg`<circle cx="4.5" cy="8" r="3" fill="none" stroke="currentColor" stroke-width="1.8"/><path d="M7.5 8 H15 M12 8 v3.5" fill="none" stroke="currentColor" stroke-width="1.8"/>`,
};

export type Mark = keyof typeof DRAWN;

/** The mark of a state; what needs none draws nothing. */
export function mark(of: State | Mark): TemplateResult {
  return svg`<svg class="mark" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true" focusable="false">${DRAWN[of] ?? ""}</svg>`;
}
