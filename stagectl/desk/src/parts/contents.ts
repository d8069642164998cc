// Which views are there, and what is the answer of each? Most need not be opened.
import { html, nothing, type TemplateResult } from "lit";
import { address, VIEWS, type Desk, type View } from "../desk";
import { keysOn, setKeys, setTheme, theme, THEMES } from "../settings";
import { bound } from "../text";

export const NAMES: Record<View, string> = {
  sheet: "Sheet",
  lineup: "Line-up",
  setups: "Set-ups",
  paths: "Paths",
  sound: "Sound",
  copyoff: "Copy-off",
  kit: "Kit",
  journal: "Journal",
  wall: "Wall",
  card: "Card",
};

/** Views that this house has, in the order of the contents. */
export function views(desk: Desk): View[] {
  const answers = desk.feed.sections?.answers ?? {};
  return VIEWS.filter((view) => !["lineup", "setups", "paths", "sound", "copyoff"].includes(view) || answers[view] !== undefined);
}

export function contents(desk: Desk): TemplateResult {
  const answers = desk.feed.sections?.answers ?? {};
  return html`<nav class="contents ${desk.contentsOpen ? "open" : ""}" aria-label="Contents">
    <button class="toggle small" aria-expanded=${desk.contentsOpen} @click=${() => ((desk.contentsOpen = !desk.contentsOpen), desk.draw())}>
      ${NAMES[desk.view]}: all views
    </button>
    <ul>
      ${views(desk).map(
        (view) => html`<li>
          <a href=${address(view)} aria-current=${desk.view === view ? "page" : nothing} @click=${follow(desk, view)}>
            <span class="name">${NAMES[view]}</span>
            ${answers[view] ? html`<span class="answer">${bound(answers[view])}</span>` : nothing}
          </a>
        </li>`,
      )}
    </ul>
    <div class="settings">
      <label>Light <select @change=${(event: Event) => setTheme((event.target as HTMLSelectElement).value)}>
        ${THEMES.map(([word, name]) => html`<option value=${word} ?selected=${theme() === word}>${name}</option>`)}
      </select></label>
      <button class="small" aria-pressed=${keysOn()} @click=${() => (setKeys(!keysOn()), desk.draw())}>
        Keys: ${keysOn() ? "on" : "off"}
      </button>
      <button class="small" aria-expanded=${desk.helpOpen} @click=${() => ((desk.helpOpen = !desk.helpOpen), desk.draw())}>Key help</button>
    </div>
  </nav>`;
}

/** A plain link that does not load the page anew. */
export function follow(desk: Desk, view: View, query: Record<string, string> = {}): (event: MouseEvent) => void {
  return (event) => {
    if (event.metaKey || event.ctrlKey || event.shiftKey || event.button !== 0) return;
    event.preventDefault();
    desk.go(view, query);
  };
}
