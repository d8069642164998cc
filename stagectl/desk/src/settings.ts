// What does this device keep for itself? Its light, whether its keys are on and which they are; nothing of the house.
export const THEMES = [
  ["", "by system"],
  ["paper", "paper"],
  ["night", "night"],
] as const;

export function theme(): string {
  return localStorage.getItem("stagectl-light") ?? "";
}

export function setTheme(word: string): void {
  localStorage.setItem("stagectl-light", word);
  showTheme();
}

export function showTheme(): void {
  const word = theme();
  if (word) document.documentElement.dataset["light"] = word;
  else delete document.documentElement.dataset["light"];
}

export function keysOn(): boolean {
  return localStorage.getItem("stagectl-keys") !== "off";
}

export function setKeys(on: boolean): void {
  localStorage.setItem("stagectl-keys", on ? "on" : "off");
}

/** What a key can be for, the key it has at first, and what it does in words. */
export const ACTS = [
  ["roll", "r", "go to the roll; Enter rolls"],
  ["end", "e", "go to the end of the take; Enter asks, then Tab or Left, then Enter"],
  ["good", "g", "go to marking the take good"],
  ["note", "n", "go to writing a note"],
  ["wrong", "w", "go to the first thing that is wrong"],
  ["sentence", "s", "read the sentence"],
  ["list", "t", "go to the list or table"],
  ["find", "/", "find"],
  ["help", "?", "this help"],
] as const;
export type Act = (typeof ACTS)[number][0];

/** The key of each act on this device. */
export function keymap(): Map<Act, string> {
  let own: unknown = null;
  try {
    own = JSON.parse(localStorage.getItem("stagectl-keymap") ?? "{}");
  } catch {
    // what was kept can't be read: the usual keys
  }
  const kept = own !== null && typeof own === "object" ? (own as Record<string, unknown>) : {};
  return new Map(ACTS.map(([act, usual]) => [act, typeof kept[act] === "string" && usable(kept[act]) ? kept[act] : usual]));
}

/** Give an act another key. Returns why that can't be; empty: it is so. */
export function setKey(act: Act, key: string): string {
  if (!usable(key)) return "A key is one letter or sign; digits open the views.";
  const map = keymap();
  const other = [...map].find(([one, its]) => one !== act && its === key);
  if (other) return `${key} has another place already: ${ACTS.find(([one]) => one === other[0])?.[2]}.`;
  localStorage.setItem("stagectl-keymap", JSON.stringify(Object.fromEntries(map.set(act, key))));
  return "";
}

export function usualKeys(): void {
  localStorage.removeItem("stagectl-keymap");
}

function usable(key: string): boolean {
  return [...key].length === 1 && !/[\s\d]/u.test(key);
}
