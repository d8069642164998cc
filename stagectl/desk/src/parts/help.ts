// Which keys are there, and which would this person rather have? A letter only moves the focus; Enter acts.
import { html, nothing, type TemplateResult } from "lit";
import type { Desk } from "../desk";
import { type Act, ACTS, keymap, setKey, usualKeys } from "../settings";

const FIXED = [
  ["1 to 9", "open a view, in the order of the contents"],
  ["Esc", "close the question and keep rolling"],
] as const;

export function help(desk: Desk): TemplateResult {
  const map = keymap();
  const said = desk.said.get("keys");
  return html`<section class="help" aria-label="Keys">
    <h2>Keys</h2>
    <p class="second">Write another letter or sign into a field to have it instead; it stays on this device.</p>
    <dl>
      ${ACTS.map(
        ([act, , does]) => html`<div><dt><input class="key" maxlength="2" autocomplete="off" autocapitalize="off" spellcheck="false" aria-label="Key: ${does}" .value=${map.get(act) ?? ""}
          @input=${(event: InputEvent) => change(desk, act, event.target as HTMLInputElement)} /></dt><dd>${does}</dd></div>`,
      )}
      ${FIXED.map(([key, does]) => html`<div><dt><kbd>${key}</kbd></dt><dd>${does}</dd></div>`)}
    </dl>
    <p class="bad" role="status">${said ? said.text : nothing}</p>
    <p class="acts-line"><button class="act" @click=${() => ((desk.helpOpen = false), desk.draw())}>Close the key help</button>
      <button class="act quiet" @click=${() => (usualKeys(), desk.said.delete("keys"), desk.draw())}>Have the usual keys</button></p>
  </section>`;
}

/** The last sign written counts; what can't be is put back and said. */
function change(desk: Desk, act: Act, field: HTMLInputElement): void {
  const had = keymap().get(act) ?? "";
  const key = [...field.value.replace(had, "")].at(-1) ?? (field.value ? had : "");
  if (key === "") return; // emptied, to be written anew
  const why = key === had ? "" : setKey(act, key);
  field.value = why ? had : key;
  if (why) desk.said.set("keys", { text: why, bad: true });
  else desk.said.delete("keys");
  desk.draw();
}
