// What stands where? The sentence on top, what is wrong under it, contents and view between, the writing line at the foot.
import { html, nothing, svg, type TemplateResult } from "lit";
import type { Desk, View } from "./desk";
import { contents } from "./parts/contents";
import { head } from "./parts/head";
import { help } from "./parts/help";
import { login } from "./parts/login";
import { writing } from "./parts/writing";
import { wrong } from "./parts/wrong";
import { card } from "./views/card";
import { copyoff } from "./views/copyoff";
import { journal } from "./views/journal";
import { kit } from "./views/kit";
import { lineup } from "./views/lineup";
import { paths } from "./views/paths";
import { setups } from "./views/setups";
import { sheet } from "./views/sheet";
import { sound } from "./views/sound";
import { wall } from "./views/wall";

const SHOWN: Record<Exclude<View, "wall" | "card">, (desk: Desk) => TemplateResult> = {
  sheet,
  lineup,
  setups,
  paths,
  sound,
  copyoff,
  kit,
  journal,
};

/** What is old or not sure is hatched; the pattern is drawn once. */
const DEFS = svg`<svg class="unseen" width="0" height="0" aria-hidden="true"><defs>
  <pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
    <rect width="2" height="6" fill="var(--pencil)"/>
  </pattern></defs></svg>`;

export function page(desk: Desk): TemplateResult {
  return html`${DEFS} ${whole(desk)}`;
}

function whole(desk: Desk): TemplateResult {
  if (desk.login !== null) return login(desk);
  if (desk.view === "wall") return wall(desk);
  if (desk.view === "card") return card(desk);
  return html`<div class="desk">
    <a class="skip" href="#view" @click=${skip}>Go to the view</a>
    ${head(desk)} ${wrong(desk)}
    <div class="middle">
      ${contents(desk)}
      <main id="view" tabindex="0" aria-label="View">
        ${desk.helpOpen ? help(desk) : nothing} ${SHOWN[desk.view](desk)}
      </main>
    </div>
    ${writing(desk)}
  </div>`;
}

function skip(event: Event): void {
  event.preventDefault();
  document.getElementById("view")?.focus();
}
