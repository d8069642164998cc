"""Does any part of the page flicker while alarms come and go? Frames of any length of time, judged region by region.

Source: WCAG 2.2, 2.3.1 and its definition of a general flash: a pair of opposing changes of relative luminance of 10 %
or more, where the darker is below 0.8; the least area that counts is 21 824 px.
"""

import base64
from dataclasses import dataclass, field
from typing import Any, Final

from playwright.sync_api import Page

from tests.desk.browser import Look
from tests.desk.hall import Hall

STEP: Final = 0.1
BRIGHT: Final = 0.8
APART_S: Final = 1.0  # no two pairs within so long: own choice; three a second are the limit
REST_MS: Final = 1000.0  # nobody rolls again sooner after a cut; alarms come as they will
GRID: Final = (9, 5)  # cells of 152 x 154 px on a laptop: the least area that counts
# Relative luminance of each cell's mean, row by row. Source: WCAG 2.2, definition of relative luminance.
CELLS: Final = """async ([data, columns, rows]) => {
    const image = new Image();
    image.src = `data:image/png;base64,${data}`;
    await image.decode();
    const canvas = new OffscreenCanvas(columns, rows);
    const pen = canvas.getContext("2d", { willReadFrequently: true });
    pen.imageSmoothingQuality = "high";
    pen.drawImage(image, 0, 0, columns, rows);
    const line = (part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
    const found = [], bytes = pen.getImageData(0, 0, columns, rows).data;
    for (let i = 0; i < bytes.length; i += 4)
        found.push([0.2126, 0.7152, 0.0722].reduce((sum, share, k) => sum + share * line(bytes[i + k] / 255), 0));
    return found;
}"""


@dataclass
class Traced:
    """What was seen: so many frames over so many seconds, alarms that came, and pairs of changes too fast."""

    frames: int = 0
    seconds: float = 0.0
    alarms: int = 0
    turns: int = 0
    fast: list[str] = field(default_factory=list)


def luminance(page: Page, png: bytes, columns: int = 1, rows: int = 1) -> list[float]:
    """Of each cell of a picture."""
    return list(page.evaluate(CELLS, [base64.b64encode(png).decode(), columns, rows]))


def traced(look: Look, judge: Page, hall: Hall, seconds: float) -> Traced:
    """Let alarms come and go on a live page until its frames span `seconds`, and judge them.

    `judge`: a page whose policy lets it decode pictures.
    """
    frames: list[tuple[float, bytes]] = []
    session = look.page.context.new_cdp_session(look.page)

    def shown(event: Any) -> None:
        frames.append((event["metadata"]["timestamp"], base64.b64decode(event["data"])))
        session.send("Page.screencastFrameAck", {"sessionId": event["sessionId"]})

    session.on("Page.screencastFrame", shown)
    session.send("Page.startScreencast", {"format": "png", "maxWidth": 683, "maxHeight": 384})
    told = Traced()
    while len(frames) < 2 or frames[-1][0] - frames[0][0] < seconds:
        told.alarms += _come_and_go(look, hall)
    session.send("Page.stopScreencast")
    told.frames, told.seconds = len(frames), frames[-1][0] - frames[0][0]
    lights = [(at, luminance(judge, png, *GRID)) for at, png in frames]
    for spot in range(GRID[0] * GRID[1]):
        turns = opposing([(at, light[spot]) for at, light in lights])
        told.turns += len(turns)
        where = f"column {spot % GRID[0]}, row {spot // GRID[0]}"
        told.fast += [
            f"{where}: two pairs within {took:.2f} s, at {at - frames[0][0]:.1f} s" for at, took in fast(turns)
        ]
    return told


def _come_and_go(look: Look, hall: Hall) -> int:
    """One recorder never rolls, two are stopped by hand, the take is cut and all is well. Returns how many alarms."""
    hall.fault("iso-4", "never_roll")
    take = hall.roll("Quintet in G")
    look.says("Rec 4 did not roll")
    for box in ("iso-1", "iso-2"):
        hall.studio.hand(box, "stop")
        look.page.wait_for_selector(f".wrong-strip :text('Rec {box[-1]} ')")
    hall.cut(take)
    hall.studio.fault("iso-4", "never_roll", on=False)
    look.says("5 of 5 can roll")
    look.page.wait_for_timeout(REST_MS)
    return 3


def fast(turns: list[float]) -> list[tuple[float, float]]:
    """Where two pairs of opposing changes lie within a second: when they begin, and how long they take."""
    return [(one, four - one) for one, four in zip(turns, turns[3:], strict=False) if four - one < APART_S]


def opposing(seen: list[tuple[float, float]]) -> list[float]:
    """When the light of one place turned by a step or more, up and down by turns."""
    turns: list[float] = []
    way = 0  # of the last turn
    edge = seen[0][1]  # the brightest since a turn up, the darkest since a turn down
    for at, light in seen[1:]:
        if abs(light - edge) >= STEP and min(light, edge) < BRIGHT and way != (1 if light > edge else -1):
            way = 1 if light > edge else -1
            turns.append(at)
            edge = light
        elif way == 0 or (light > edge) == (way == 1):
            edge = light
    return turns
