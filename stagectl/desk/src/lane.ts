// How is a take drawn? One bar a recorder: its first frames and its last ones magnified, the time between to scale.
// Ink is what is proven, pencil what was asked, a hatched end what is known only to half a round trip.
import { html, nothing, svg, type TemplateResult } from "lit";
import type { Lane, State, Take } from "./shapes";
import { frames, perSecond } from "./text";

const LENS = 12; // frames a lens shows
const PX = 8; // a frame
const HIGH = 16;
const STEPS_MIN = [1, 2, 5, 10, 30, 60, 120, 240, 480, 1440]; // the middle's scale grows in steps, so that it does not creep

export interface Bar {
  called: string;
  /** Frames after the earliest recorder; null: it never rolled. */
  start: number | null;
  /** How much earlier it may have begun, frames. */
  give: number;
  /** Frames after the recorder that ended first; null: it rolls. */
  end: number | null;
  /** From and to in the take, 0..1 of the scale. */
  from: number;
  to: number;
  /** Where another recording of the same recorder begins, 0..1. */
  notches: number[];
}

/** The bars of a take, a recorder each, in the order they are known. */
export function bars(take: Take, now: number): Map<string, Bar> {
  const own = new Map<string, Lane[]>();
  for (const lane of take.lanes) own.set(lane.device, [...(own.get(lane.device) ?? []), lane]);
  const begin = Math.min(...take.lanes.map((lane) => Date.parse(lane.rolled)));
  const until = take.closed === null ? now : Date.parse(take.closed);
  const whole = take.closed === null ? scaleMs(until - begin) : Math.max(until - begin, 1);
  const ends = [...own.values()].map((lanes) => lastFrame(lanes)).filter((one): one is number => one !== null);
  const first = Math.min(...ends);
  const found = new Map<string, Bar>();
  for (const device of new Set([...take.wanted, ...own.keys()])) {
    const lanes = own.get(device);
    const head = lanes?.[0];
    const last = lanes?.at(-1);
    if (!lanes || !head || !last) {
      found.set(device, { called: device, start: null, give: 0, end: null, from: 0, to: 0, notches: [] });
      continue;
    }
    const rate = perSecond(head.format);
    const seen = ((Date.parse(head.rolled) - begin) / 1000) * rate;
    const end = lastFrame(lanes);
    const stop = last.ended === null ? until : Date.parse(last.ended);
    found.set(device, {
      called: head.called,
      start: head.offset ?? Math.round(seen),
      give: head.offset === null ? Math.ceil(head.give_s * rate) : 0,
      end: end === null || take.closed === null ? null : end - first,
      from: (Date.parse(head.rolled) - begin) / whole,
      to: (stop - begin) / whole,
      notches: lanes.slice(1).map((lane) => (Date.parse(lane.rolled) - begin) / whole),
    });
  }
  return found;
}

function lastFrame(lanes: Lane[]): number | null {
  const last = lanes.at(-1);
  return last && last.end ? frames(last.end, perSecond(last.format)) : null;
}

function scaleMs(ms: number): number {
  const minutes = STEPS_MIN.find((step) => step * 60_000 > ms) ?? 1440;
  return minutes * 60_000;
}

/** How many frames a tick of the lens stands for, and its name when that is not one. */
function lensScale(all: Iterable<Bar>): { per: number; name: string } {
  const late = Math.max(0, ...[...all].map((bar) => bar.start ?? 0));
  if (late < LENS) return { per: 1, name: "" };
  const seconds = [1, 2, 5, 10, 30, 60].find((one) => one * 25 > late) ?? Math.ceil(late / 25);
  return { per: (seconds * 25) / LENS, name: `lens: ${seconds} s` };
}

/** One bar; `state` of a recorder that rolls now, "proven" for what is over. */
export function lane(bar: Bar, all: Iterable<Bar>, state: State): TemplateResult {
  const { per } = lensScale(all);
  return html`<span class="lane ${state}" aria-hidden="true">
    <svg class="lens" width=${LENS * PX} height=${HIGH}>
      ${ticks()} ${bar.start === null ? empty(LENS * PX) : lensInk(bar.start / per, bar.give / per)}
    </svg>
    <svg class="span" width="100%" height=${HIGH}>
      ${bar.start === null ? empty("100%") : ink(bar)}
    </svg>
    ${bar.end === null
      ? nothing
      : html`<svg class="lens" width=${LENS * PX} height=${HIGH}>
          ${ticks()}
          <rect class="ink" x="0" y="2" width=${Math.min(LENS, bar.end + 1) * PX} height=${HIGH - 4}></rect>
        </svg>`}
  </span>`;
}

/** What the scale of the lenses is called, if it is not a tick a frame. */
export function lensName(all: Iterable<Bar>): string {
  return lensScale(all).name;
}

/** All recorders in one bar: ink where all rolled. */
export function envelope(all: Bar[]): Bar {
  const rolled = all.filter((bar) => bar.start !== null);
  const ends = rolled.map((bar) => bar.end).filter((one): one is number => one !== null);
  return {
    called: "",
    start: rolled.length ? Math.max(...rolled.map((bar) => bar.start ?? 0)) : null,
    give: Math.max(0, ...rolled.map((bar) => bar.give)),
    end: ends.length ? Math.min(...ends) : null,
    from: Math.max(0, ...rolled.map((bar) => bar.from)),
    to: Math.min(1, ...rolled.map((bar) => bar.to)),
    notches: rolled.flatMap((bar) => bar.notches),
  };
}

/** One line for all ticks of a lens: a long sheet has thousands of them. */
const TICKS = Array.from({ length: LENS + 1 }, (_, i) => `M${i * PX + 0.5} ${HIGH - 3}v3`).join("");

function ticks(): TemplateResult {
  return svg`<path class="ticks" d=${TICKS}></path>`;
}

function lensInk(start: number, give: number): TemplateResult {
  const from = Math.min(LENS, start) * PX;
  const early = Math.max(0, start - give) * PX;
  return svg`${give > 0 ? svg`<rect class="perhaps" x=${early} y="2" width=${from - early} height=${HIGH - 4}/>` : ""}
    <rect class="ink" x=${from} y="2" width=${LENS * PX - from} height=${HIGH - 4}/>`;
}

function ink(bar: Bar): TemplateResult {
  const from = Math.max(0, bar.from) * 100;
  return svg`<rect class="ink" x=${`${from}%`} y="2" width=${`${Math.max(0.4, Math.min(1, bar.to) * 100 - from)}%`} height=${HIGH - 4}/>
    ${bar.notches.map((at) => svg`<rect class="notch" x=${`${at * 100}%`} y="0" width="2" height=${HIGH}/>`)}`;
}

function empty(width: number | string): TemplateResult {
  return svg`<rect class="never" x="0.5" y="2.5" width=${width} height=${HIGH - 5}/>`;
}
