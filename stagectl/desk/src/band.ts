// What does the band say at arm's length? One cell a recorder; what does not roll stands out by its gap and its mark.
import { html, type TemplateResult } from "lit";
import { mark } from "./marks";
import type { Recorder } from "./shapes";
import { bound } from "./text";

const MANY = 12; // from here on what is not proven stands in front, and names are left to the words

export function band(each: readonly Recorder[], rolling: boolean): TemplateResult {
  const many = each.length > MANY;
  const order = many ? [...each].sort((a, b) => Number(plainly(a)) - Number(plainly(b))) : each;
  return html`<ul class="band ${rolling ? "rolling" : "resting"}${many ? " many" : ""}" aria-label="Recorders">
    ${order.map(
      (one) => html`<li class=${one.state} title=${`${one.called}: ${one.say}`}>
        <svg width="100%" height="100%" aria-hidden="true"><rect class="cell" x="0" y="0" width="100%" height="100%"></rect></svg>
        <span>${mark(one.state)}<span class="name">${bound(one.called)}</span><span class="unseen">: ${one.say}</span></span>
      </li>`,
    )}
  </ul>`;
}

function plainly(one: Recorder): boolean {
  return one.state === "proven" || one.state === "ready";
}
