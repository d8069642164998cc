// What does a key do? A letter only moves the focus; Enter acts, and a key that is held acts once.
import type { Desk } from "./desk";
import { views } from "./parts/contents";
import { type Act, keymap, keysOn } from "./settings";

const PLACES: Record<Exclude<Act, "help">, string[]> = {
  roll: ["#act-roll", ".slot-roll button"],
  end: ["#act-end"],
  good: ["#act-good"],
  note: ["#act-note"],
  wrong: [".wrong-strip button"],
  sentence: ["#sentence"],
  list: ["#view [tabindex='0']", "#view .rows button", "#view .rows a", "#view .sheet a"],
  find: ["#find"],
};

export function listen(desk: Desk): void {
  addEventListener("keydown", (event) => heard(desk, event), true);
}

function heard(desk: Desk, event: KeyboardEvent): void {
  const target = event.target as HTMLElement;
  if (event.repeat && (event.key === "Enter" || event.key === " ") && target.closest("button, a, summary")) {
    event.preventDefault();
    return;
  }
  if (event.key === "Escape") {
    if (desk.question !== null) desk.keepRolling();
    return;
  }
  if (!keysOn() || event.ctrlKey || event.altKey || event.metaKey || event.repeat || typing(target)) return;
  const number = "1234567890".indexOf(event.key);
  const view = number >= 0 && event.key.length === 1 ? views(desk)[number] : undefined;
  const act = [...keymap()].find(([, key]) => key === event.key)?.[0];
  if (view !== undefined) desk.go(view);
  else if (act === "help") {
    desk.helpOpen = !desk.helpOpen;
    desk.draw();
  } else if (act === undefined || !focusFirst(PLACES[act])) return;
  event.preventDefault();
}

function typing(target: HTMLElement): boolean {
  return target.closest("input, textarea, select, [contenteditable]") !== null;
}

function focusFirst(places: string[]): boolean {
  for (const place of places) {
    const found = document.querySelector<HTMLElement>(place);
    if (found) {
      found.focus();
      return true;
    }
  }
  return false;
}
