"""How do the plain pages look? Paper by day, dark at night; red is for what is wrong and nothing else."""

from typing import Final

STYLE: Final = """
:root { --paper: #F6F2E9; --card: #FFFDF8; --well: #E9E3D5; --ink: #1E2430; --pencil: #565B66; --rule: #857F70;
  --roll: #24468F; --stamp: #A6443D; }
@media (prefers-color-scheme: dark) { :root { --paper: #1C1B19; --card: #262421; --well: #121110; --ink: #EAE4D8;
  --pencil: #B3AC9E; --rule: #7D776B; --roll: #9DB8F2; --stamp: #FF9C8C; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 17px/1.5 "Source Sans 3", "Source Sans Pro",
  system-ui, sans-serif; }
main { max-width: 75ch; margin: 0 auto; padding: 24px 16px 64px; }
h1 { font-size: 29px; line-height: 1.25; margin: 8px 0 12px; font-weight: 600; }
h2 { font-size: 20px; margin: 32px 0 8px; border-bottom: 1px solid var(--rule); }
h3 { font-size: 17px; margin: 24px 0 4px; overflow-wrap: anywhere; }
p { margin: 6px 0; }
a { color: var(--ink); }
a:focus-visible { outline: 2px solid var(--ink); outline-offset: 2px; box-shadow: 0 0 0 2px var(--card); }
.place, .second { color: var(--pencil); }
.wrong { list-style: none; padding: 0; }
.wrong li { border-left: 4px solid var(--rule); background: var(--card); padding: 8px 12px; margin: 8px 0; }
.wrong .now { border-color: var(--stamp); }
.wrong .now strong { color: var(--stamp); }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: 4px 12px 4px 0; border-bottom: 1px solid var(--well); }
th { color: var(--pencil); font-weight: 600; }
code, pre { font-family: ui-monospace, "Source Code Pro", monospace; font-size: 15px; }
pre { background: var(--card); border: 1px solid var(--well); border-radius: 3px; padding: 8px 12px; overflow-x: auto; }
.method { color: var(--roll); font-weight: 600; }
nav a { display: inline-block; min-height: 24px; margin: 24px 16px 0 0; }
button { font: inherit; min-height: 44px; padding: 8px 20px; color: var(--ink); background: var(--card);
  border: 1px solid var(--rule); border-radius: 3px; }
button:focus-visible, input:focus-visible { outline: 2px solid var(--ink); outline-offset: 2px; }
button[aria-disabled="true"] { color: var(--pencil); }
input { font: inherit; min-height: 44px; padding: 8px; color: var(--ink); background: var(--card);
  border: 1px solid var(--rule); }
input[type="checkbox"] { min-height: 0; width: 20px; height: 20px; vertical-align: middle; }
.card p { margin: 16px 0; }
.card button, .card input { display: block; width: 100%; min-height: 64px; font-size: 20px; text-align: left; }
.card input { margin: 4px 0 8px; }
.card button { border: 2px solid var(--ink); font-weight: 600; }
main > div > code { overflow-wrap: anywhere; }
details > summary { cursor: pointer; color: var(--pencil); min-height: 24px; }
"""
