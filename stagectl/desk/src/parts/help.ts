// Which keys are there? A letter only moves the focus; Enter acts.
import { html, type TemplateResult } from "lit";
import type { Desk } from "../desk";

const KEYS = [
  ["r", "go to the roll; Enter rolls"],
  ["e", "go to the end of the take; Enter asks, then Tab or Left, then Enter"],
  ["g", "go to marking the take good"],
  ["n", "go to writing a note"],
  ["w", "go to the first thing that is wrong"],
  ["s", "read the sentence"],
  ["t", "go to the list or table"],
  ["/", "find"],
  ["1 to 9", "open a view, in the order of the contents"],
  ["?", "this help"],
  ["Esc", "close the question and keep rolling"],
] as const;

export function help(desk: Desk): TemplateResult {
  return html`<section class="help" aria-label="Keys">
    <h2>Keys</h2>
    <dl>${KEYS.map(([key, does]) => html`<div><dt><kbd>${key}</kbd></dt><dd>${does}</dd></div>`)}</dl>
    <p><button class="act" @click=${() => ((desk.helpOpen = false), desk.draw())}>Close the key help</button></p>
  </section>`;
}
