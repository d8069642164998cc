"""What does a guest with a link see? A button for each act it grants, and what became of it; nothing of the house.

The token stands behind the hash of the link: a browser never sends that part, and the page takes it out of the address.
"""

from typing import Final

from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.pages import page

BODY: Final = (
    '<h1 id="who">Guest</h1>\n<p id="until" class="second">One moment.</p>\n'
    '<div id="acts" class="card"></div>\n<p id="said" role="status" aria-live="polite"></p>\n'
    "<noscript><p>This page needs scripts switched on.</p></noscript>"
)
SCRIPT: Final = """
"use strict";
const place = (id) => document.getElementById(id);
const key = location.hash.slice(1) || sessionStorage.getItem("stagectl-guest") || "";
sessionStorage.setItem("stagectl-guest", key);
history.replaceState(null, "", location.pathname);
const say = (text) => { place("said").textContent = text; };
const hex = (byte) => byte.toString(16).padStart(2, "0");
const fresh = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), hex).join("");
const lost = "Not known if it was heard: no answer came. Look at the stage.";
async function ask(path, body) {
  const answer = await fetch("/api/v1/" + path, {
    method: body ? "POST" : "GET",
    headers: { Authorization: "Bearer " + key, ...(body && { "Content-Type": "application/json" }) },
    body: body ? JSON.stringify(body) : undefined,
  });
  const told = await answer.json();
  if (answer.status === 401) sessionStorage.removeItem("stagectl-guest");
  if (!answer.ok) throw new Error([told.detail, told.remedy].filter(Boolean).join(" "));
  return told;
}
const inlet = (verb, args) => ask("in/guest?wait=verdict", { verb, args, id: fresh() });
const acts = {
  roll: ["Roll the recorders", null, () => inlet("roll", {})],
  good: ["Mark this take good", null, () => inlet("mark", { good: true })],
  note: ["Keep the note to this take", "Note", (text) => inlet("mark", { note: text })],
  slate: ["Name the next take", "Name", (text) => ask("takes/slate", { name: text })],
  call: ["Call the operator", null, () => ask("call", { say: "" })],
};
function button(word) {
  const [label, field, go] = acts[word];
  const row = document.createElement("p");
  const press = document.createElement("button");
  press.textContent = label;
  let text = null;
  if (field) {
    const named = document.createElement("label");
    named.textContent = field + " ";
    text = document.createElement("input");
    text.maxLength = 200;
    named.append(text);
    row.append(named, " ");
  }
  press.addEventListener("click", async () => {
    if (press.getAttribute("aria-disabled") === "true") return;
    if (text && !text.value.trim()) { say(field + " is empty. Write it first."); text.focus(); return; }
    press.setAttribute("aria-disabled", "true");
    say("Asked.");
    try { say((await go(text ? text.value : "")).say || "Done."); if (text) text.value = ""; }
    catch (slip) { say(slip instanceof TypeError ? lost : slip.message); }
    press.setAttribute("aria-disabled", "false");
  });
  row.append(press);
  place("acts").append(row);
}
ask("me").then((me) => {
  place("who").textContent = me.name;
  const until = me.until ? new Date(me.until) : null;
  const two = (number) => String(number).padStart(2, "0");
  place("until").textContent = until ? "Until " + two(until.getHours()) + ":" + two(until.getMinutes()) + "." : "";
  Object.keys(acts).filter((word) => me.verbs === null || me.verbs.includes(word)).forEach(button);
}).catch((slip) => { place("until").textContent = ""; say(slip.message + " Ask for a new link."); });
"""


async def guest(_: Call) -> Answer:
    """The page of a guest's link; it tells nothing by itself."""
    return page("stagectl: guest", BODY, SCRIPT)
