// What does this device keep for itself? Its light and whether its keys are on; nothing of the house.
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
