// Where does the page begin? What was served stands until the first snapshot; then it is drawn, once a frame at most.
import "@fontsource-variable/source-sans-3/wght.css";
import "./style/tokens.css";
import "./style/page.css";
import "./style/parts.css";
import "./style/views.css";
import "./style/print.css";
import { render } from "lit";
import { Announcer } from "./announce";
import { Awake } from "./awake";
import { Desk } from "./desk";
import { Foot } from "./foot";
import idle from "./icons/idle.svg?url";
import rolls from "./icons/rolls.svg?url";
import { listen } from "./keys";
import { page } from "./page";
import { showTheme } from "./settings";

const EVERY_MS = 1000; // clocks on the page move once a second

function start(): void {
  showTheme();
  const place = document.getElementById("desk");
  if (place === null) return;
  const desk = new Desk();
  const announcer = new Announcer(region("polite"), region("assertive"));
  const awake = new Awake();
  const foot = new Foot();
  let asked = false;
  let drawn = false;
  const draw = (): void => {
    asked = false;
    if (desk.feed.sections === null && desk.login === null) return;
    if (!drawn) place.replaceChildren();
    drawn = true;
    document.documentElement.dataset["life"] = desk.feed.life;
    document.documentElement.dataset["view"] = desk.view;
    render(page(desk), place);
    foot.look(desk.view === "sheet" && !desk.helpOpen && !desk.query.has("take"));
    show(desk, announcer);
    awake.keep(desk.view === "card" && desk.feed.sections?.take != null);
    desk.renew();
    desk.feed.see(desk.sight());
  };
  desk.draw = () => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(draw);
  };
  // on paper all takes are unfolded, as at /?look=print
  addEventListener("beforeprint", () => {
    if (desk.view === "sheet") desk.query.set("look", "print");
    draw();
  });
  addEventListener("afterprint", () => (desk.route(), desk.draw()));
  listen(desk);
  setInterval(desk.draw, EVERY_MS);
  void desk.start();
}

function region(how: "polite" | "assertive"): HTMLElement {
  const element = document.createElement("div");
  element.className = "unseen";
  element.setAttribute("aria-live", how);
  document.body.append(element);
  return element;
}

/** The tab: its title in words, its icon by shape. */
function show(desk: Desk, announcer: Announcer): void {
  const told = desk.feed.sections;
  if (told === null) return;
  announcer.look(told);
  const take = told.take;
  const rolling = told.each.filter((one) => one.state === "proven").length;
  const state = take ? `T${take.take} rolls ${rolling}/${new Set([...take.wanted, ...take.rolling]).size}` : "stands by";
  const title = desk.live ? `${state} \u2013 ${desk.site?.name ?? "stagectl"}` : `lost \u2013 ${desk.site?.name ?? "stagectl"}`;
  if (document.title !== title) document.title = title;
  let icon = document.querySelector<HTMLLinkElement>("link[rel=icon]");
  if (icon === null) {
    icon = document.createElement("link");
    icon.rel = "icon";
    document.head.append(icon);
  }
  const wanted = take ? rolls : idle;
  if (icon.getAttribute("href") !== wanted) icon.setAttribute("href", wanted);
}

start();
