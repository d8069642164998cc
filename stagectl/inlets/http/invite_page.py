"""How does an operator make a guest's link at a browser? Name, password, acts; then the link as a code for a phone.

The login it makes ends as soon as the link is there: nothing stays behind in the browser.
"""

from typing import Final

from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.pages import page

_ACTS: Final = (
    ("roll", "roll", True),
    ("good", "mark a take good", True),
    ("note", "write a note to a take", False),
    ("slate", "name the next take", False),
    ("call", "call the desk", True),
)
_BOXES: Final = "\n".join(
    f'<p><label><input type="checkbox" name="acts" value="{word}"{" checked" if on else ""}> {label}</label></p>'
    for word, label, on in _ACTS
)
BODY: Final = f"""<h1>A link for a guest</h1>
<p class="second">It grants these acts for some hours, and shows nothing of the house.</p>
<form id="ask">
<p><label>Your name <input id="name" autocomplete="username" maxlength="32" required></label></p>
<p><label>Your password <input id="password" type="password" autocomplete="current-password" maxlength="256"
required></label></p>
<fieldset><legend>The guest may</legend>
{_BOXES}
</fieldset>
<p><label>For <input id="hours" type="number" min="1" max="24" value="4" required> hours</label></p>
<p><label>In the journal the guest is called <input id="called" value="guest" maxlength="32"
pattern="[a-z0-9][a-z0-9\\-]*" required></label></p>
<p><button>Make the link</button></p>
</form>
<div id="code"></div>
<p id="said" role="status" aria-live="polite"></p>
<noscript><p>This page needs scripts switched on. At a terminal: <code>stagectl guest new</code></p></noscript>"""
SCRIPT: Final = """
"use strict";
const place = (id) => document.getElementById(id);
const say = (text) => { place("said").textContent = text; };
async function ask(path, body, token) {
  const headers = { "Content-Type": "application/json", ...(token && { Authorization: "Bearer " + token }) };
  const answer = await fetch("/api/v1/" + path, { method: "POST", headers, body: JSON.stringify(body) });
  const told = await answer.json();
  if (!answer.ok) throw new Error([told.detail, told.remedy].filter(Boolean).join(" "));
  return told;
}
function drawn(rows) {
  const quiet = 4, wide = rows.length + 2 * quiet, space = "http://www.w3.org/2000/svg";
  const picture = document.createElementNS(space, "svg");
  picture.setAttribute("viewBox", `0 0 ${wide} ${wide}`);
  picture.setAttribute("width", "300");
  picture.setAttribute("role", "img");
  picture.setAttribute("aria-label", "The link as a code for a phone");
  picture.setAttribute("shape-rendering", "crispEdges");
  const light = document.createElementNS(space, "rect");
  for (const side of ["width", "height"]) light.setAttribute(side, wide);
  light.setAttribute("fill", "#fff");
  const dark = document.createElementNS(space, "path");
  const squares = rows.flatMap((row, y) =>
    [...row].map((square, x) => (square === "1" ? `M${x + quiet} ${y + quiet}h1v1h-1z` : "")));
  dark.setAttribute("d", squares.join(""));
  dark.setAttribute("fill", "#000");
  picture.append(light, dark);
  return picture;
}
place("ask").addEventListener("submit", async (event) => {
  event.preventDefault();
  const acts = [...document.querySelectorAll("input[name=acts]:checked")].map((box) => box.value);
  if (!acts.length) { say("Choose one act at least."); return; }
  say("One moment.");
  let token = "";
  try {
    token = (await ask("login", { name: place("name").value, password: place("password").value })).token;
    place("password").value = "";
    const wanted = { name: place("called").value, acts, hours: Number(place("hours").value) };
    const made = await ask("guests", wanted, token);
    const link = document.createElement("code");
    link.textContent = made.link;
    place("code").replaceChildren(drawn(made.qr), document.createElement("br"), link);
    say(`Shown once, until ${new Date(made.until).toLocaleString()}. Whoever has it may use it.`);
  } catch (slip) { say(slip.message); }
  finally { if (token) ask("logout", {}, token).catch(() => {}); }
});
"""


async def invite(_: Call) -> Answer:
    """The page that makes a guest's link; it tells nothing by itself."""
    return page("stagectl: a link for a guest", BODY, SCRIPT)
