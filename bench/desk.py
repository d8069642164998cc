"""What does the page cost whoever looks at it? `python -m bench.desk [--quick] [--json] [--minutes N]`; see README.md.

Chromium on this machine, headless, with software rendering. First bars and goals are the desk's brief's, in
milliseconds; beside each stands the floor of the same run: an empty page of the same daemon, or a frame of nothing.
"""

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from bench.farend import FarEnd, FarEndError, build
from bench.process import BenchError, Measured, write_site
from bench.rows import Row, details, table

BOXES: Final = 200
HALL: Final = 5
RATE: Final = 10  # notices a second of each
TAKES: Final = 500
SIZE: Final = {"width": 1366, "height": 768}
SLOW_NET: Final = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 200_000}
SLOW_CPU: Final = 4
LIVE: Final = "html[data-life=live] #act-roll"
FLOOR: Final = "/livez"  # a body of one line: what the browser and the way cost without a page
WAIT_MS: Final = 60_000

# Each change is followed from the daemon's stamp of its value to the task after the frame that wrote it.
PROBE: Final = """(() => {
    const Plain = WebSocket;
    window.late = [];
    window.WebSocket = class extends Plain {
        constructor(...given) {
            super(...given);
            this.addEventListener("message", (event) => {
                const told = JSON.parse(event.data);
                if (told.is !== "changes" || !told.points.length) return;
                const at = Math.max(...told.points.map((point) => Date.parse(point.at) || 0));
                requestAnimationFrame(() => setTimeout(() => window.late.push(Date.now() - at)));
            });
        }
    };
})()"""
FRAMES: Final = """(ms) => new Promise((done) => {
    const view = document.getElementById("view"), took = [];
    const from = performance.now();
    let last = from, by = 1;
    const step = (now) => {
        took.push(now - last);
        last = now;
        if (view && view.scrollTop + view.clientHeight >= view.scrollHeight - 2) by = -1;
        if (view && view.scrollTop <= 0) by = 1;
        view?.scrollBy(0, by * 40);
        if (now - from < ms) requestAnimationFrame(step);
        else done(took.slice(2));
    };
    requestAnimationFrame(step);
})"""
# When the first sentence first said what it says, by the wall clock.
FIRST: Final = """(() => {
    window.firsts = {};
    const look = () => {
        const text = document.getElementById("sentence")?.innerText.replaceAll("\\u00a0", " ") ?? "";
        const first = text.split(". ")[0].replace(/[.]$/, "");
        if (!(first in window.firsts)) window.firsts[first] = Date.now();
    };
    document.addEventListener("DOMContentLoaded", () =>
        new MutationObserver(look).observe(document.body, { childList: true, subtree: true, characterData: true }));
})()"""
PRESS: Final = """() => new Promise((done) => {
    const from = performance.now();
    new MutationObserver((_, seen) => {
        if (!document.querySelector(".writing .said")?.innerText.includes("Asked")) return;
        seen.disconnect();
        requestAnimationFrame(() => setTimeout(() => done(performance.now() - from)));
    }).observe(document.body, { childList: true, subtree: true, characterData: true });
    document.getElementById("act-roll").click();
})"""


def measure(browser: Browser, program: Path, *, repeats: int, seconds: float, minutes: float) -> list[Row]:
    """All rows: a hall's, then a large house's."""
    return [*_hall(browser, program, repeats), *_house(browser, program, repeats, seconds, minutes)]


def _hall(browser: Browser, program: Path, repeats: int) -> list[Row]:
    """On a daemon with as many recorders as the demo hall has."""
    with FarEnd(program, HALL) as far, tempfile.TemporaryDirectory() as folder:
        site = write_site(Path(folder) / "site.yaml", far)
        with Measured("bench.daemon", str(site), f"{folder}/data") as measured:
            measured.wait_ready(far.number)
            return [_same(browser, f"http://127.0.0.1:{measured.port}", repeats)]


def _house(browser: Browser, program: Path, repeats: int, seconds: float, minutes: float) -> list[Row]:
    """On a daemon with many boxes."""
    with FarEnd(program, BOXES) as far, tempfile.TemporaryDirectory() as folder:
        site = write_site(Path(folder) / "site.yaml", far)
        with Measured("bench.daemon", str(site), f"{folder}/data") as measured:
            measured.wait_ready(far.number)
            url = f"http://127.0.0.1:{measured.port}"
            return [
                *_opening(browser, url, repeats, slow=False),
                *_opening(browser, url, repeats, slow=True),
                _bytes(browser, url),
                _press(browser, url, repeats),
                *_changes(browser, url, far, seconds),
                *_scrolling(browser, url, far, seconds),
                *_memory(browser, url, far, minutes),
            ]


@contextmanager
def _page(browser: Browser, script: str = "") -> Iterator[tuple[Page, CDPSession]]:
    context = browser.new_context(viewport=SIZE)
    page = context.new_page()
    if script:
        page.add_init_script(script)
    yield page, context.new_cdp_session(page)
    context.close()


def _opening(browser: Browser, url: str, repeats: int, *, slow: bool) -> list[Row]:
    """First paint, and the roll live, of a browser that has nothing of ours yet."""
    found: dict[str, list[float]] = {"floor": [], "paint": [], "live": []}
    for _ in range(repeats):
        for name, path in (("floor", FLOOR), ("paint", "/")):
            with _page(browser) as (page, session):
                if slow:
                    session.send("Network.enable")
                    session.send("Network.emulateNetworkConditions", SLOW_NET)
                    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOW_CPU})
                began = time.monotonic()
                page.goto(url + path, wait_until="commit")
                page.wait_for_function("() => performance.getEntriesByName('first-contentful-paint').length")
                paint = "performance.getEntriesByName('first-contentful-paint')[0].startTime"
                found[name].append(float(page.evaluate(paint)))
                if name == "paint":
                    page.wait_for_selector(LIVE, timeout=WAIT_MS)
                    found["live"].append(1000 * (time.monotonic() - began))
    floor, paint, live = (statistics.median(found[name]) for name in ("floor", "paint", "live"))
    where = "slow phone" if slow else "laptop"
    bars = ((2500, 1500), (4000, 2500)) if slow else ((800, 400), (2000, 1000))
    return [
        Row(f"first paint, {where}", paint, *bars[0], unit="ms", detail={"floor ms": floor, "ratio": paint / floor}),
        Row(f"roll live after opening, {where}", live, *bars[1], unit="ms", detail={"ratio to floor": live / floor}),
    ]


def _bytes(browser: Browser, url: str) -> Row:
    """What is sent for the first view: HTML, CSS, script and face, packed; what is read of the house is its own."""
    sizes: dict[str, int] = {}
    with _page(browser) as (page, session):
        session.send("Network.enable")
        names: dict[str, str] = {}
        session.on(
            "Network.responseReceived", lambda event: names.update({event["requestId"]: event["response"]["url"]})
        )
        session.on(
            "Network.loadingFinished",
            lambda event: sizes.update({names.get(event["requestId"], ""): int(event["encodedDataLength"])}),
        )
        page.goto(url)
        page.wait_for_selector(LIVE, timeout=WAIT_MS)
    own = {name: size for name, size in sizes.items() if name and "/api/" not in name}
    return Row("first view, packed", sum(own.values()) / 1000, 130, 98, unit="KB")


def _press(browser: Browser, url: str, repeats: int) -> Row:
    """A click to "Asked" on the page."""
    found = []
    with _page(browser) as (page, _):
        page.goto(url)
        for _ in range(repeats):
            page.wait_for_selector(LIVE, timeout=WAIT_MS)
            found.append(float(page.evaluate(PRESS)))
            page.wait_for_selector("#act-end", timeout=WAIT_MS)
            page.wait_for_function("() => !document.querySelector('.said')?.innerText.includes('Asked')")
            page.click("#act-end")
            page.click("#do-end")
    return Row('press to "asked"', statistics.median(found), 100, 50, unit="ms", detail={"worst": max(found)})


def _same(browser: Browser, url: str, repeats: int) -> Row:
    """Rolls pressed on one page: from the first of two pages and a terminal that says so to the last of them."""
    spreads = []
    with _page(browser, FIRST) as (one, _), _page(browser, FIRST) as (two, _), _watching(url) as heard:
        for page in (one, two):
            page.goto(url)
            page.wait_for_selector(LIVE, timeout=WAIT_MS)
        for _ in range(repeats):
            one.click("#act-roll")
            one.wait_for_function(
                "() => /rolls on (\\d+)\\sof\\s\\1/.test(document.getElementById('sentence').innerText)"
            )
            told = f"Take {json.load(urllib.request.urlopen(f'{url}/api/v1/now', timeout=10))['take']['take']} rolls on"
            spreads.append(_spread_ms(told, one, two, heard))
            one.click("#act-end")
            one.click("#do-end")
            one.wait_for_selector("#act-roll", timeout=WAIT_MS)
            two.wait_for_selector("#act-roll", timeout=WAIT_MS)
    return Row(
        "roll said the same on two pages and a terminal, worst",
        max(spreads),
        200,
        100,
        unit="ms",
        detail={"median": statistics.median(spreads), "rolls": repeats},
    )


def _spread_ms(told: str, one: Page, two: Page, heard: dict[str, float]) -> float:
    """Between the first and the last to say a whole sentence that begins so.

    Raises:
        BenchError: one of them never said it.
    """
    until = time.monotonic() + WAIT_MS / 1000
    while time.monotonic() < until:
        seen = [page.evaluate("window.firsts") for page in (one, two)] + [dict(heard)]
        both = [text for text in seen[0] if text.startswith(told) and all(text in firsts for firsts in seen)]
        if both:
            at = [firsts[both[-1]] for firsts in seen]
            return float(max(at) - min(at))
        one.wait_for_timeout(50)
    raise BenchError(f'Not all of two pages and a terminal said "{told}".')


@contextmanager
def _watching(url: str) -> Iterator[dict[str, float]]:
    """A terminal that watches: when each first sentence was first read from it, ms since 1970."""
    heard: dict[str, float] = {}
    command = [sys.executable, "-m", "stagectl", "watch", "--json"]
    watching = subprocess.Popen(
        command, env={**os.environ, "STAGECTL_URL": url}, stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True
    )
    out = watching.stdout
    assert out is not None

    def read() -> None:
        for line in out:
            if say := json.loads(line).get("say"):
                heard.setdefault(say.split(". ")[0].rstrip("."), 1000 * time.time())

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    yield heard
    watching.terminate()
    watching.wait(10)
    reader.join(10)


def _changes(browser: Browser, url: str, far: FarEnd, seconds: float) -> list[Row]:
    """From the daemon's stamp to the frame that shows it, with all boxes telling."""
    with _page(browser, PROBE) as (page, session):
        page.goto(f"{url}/kit?box={_first(url)}")
        page.wait_for_selector("html[data-life=live] #view table", timeout=WAIT_MS)
        far.stream(RATE)
        page.wait_for_timeout(2000)
        session.send("Performance.enable", {"timeDomain": "threadTicks"})  # processor time, not time of day
        page.evaluate("window.late.length = 0")
        before = _worked_ms(session)
        page.wait_for_timeout(1000 * seconds)
        worked = _worked_ms(session) - before
        late = sorted(float(one) for one in page.evaluate("window.late"))
        far.stream(0)
    if len(late) < 10 * seconds / 2:
        raise BenchError(f"Only {len(late)} frames in {seconds:g} s: the page is not live.")
    p50, p99 = late[len(late) // 2], late[int(len(late) * 0.99)]
    told = {"frames": len(late), "p95": late[int(len(late) * 0.95)]}
    what = f"device event to pixels, {BOXES} x {RATE}/s"
    return [
        Row(f"{what}, p50", p50, 120, 50, unit="ms", detail=told),
        Row(f"{what}, p99", p99, 200, 120, unit="ms"),
        Row("... processor time of script, style and layout for each", worked / len(late), 8, 4, unit="ms"),
    ]


def _worked_ms(session: CDPSession) -> float:
    """Processor time of the page's own thread so far: running script, finding styles and laying out."""
    told = {one["name"]: one["value"] for one in session.send("Performance.getMetrics")["metrics"]}
    return 1000 * float(told["ScriptDuration"] + told["RecalcStyleDuration"] + told["LayoutDuration"])


def _scrolling(browser: Browser, url: str, far: FarEnd, seconds: float) -> list[Row]:
    """Frames while a sheet of many takes is scrolled and all boxes tell; beside an empty page that does nothing."""
    with _page(browser) as (page, _):
        page.goto(url + FLOOR)
        floor = _p95(page.evaluate(FRAMES, 1000 * seconds / 2))
    with _page(browser) as (page, _):
        page.route("**/api/v1/takes?**", lambda route: route.fulfill(json={"takes": _takes(), "next": {}}))
        page.goto(url)
        page.wait_for_selector(f"#take-{TAKES}", timeout=WAIT_MS)
        far.stream(RATE)
        took = page.evaluate(FRAMES, 1000 * seconds)
        far.stream(0)
        _keep(page, "bench-sheet")
    long = 100 * sum(one > 34 for one in took) / len(took)
    p95 = _p95(took)
    return [
        Row(
            f"frame while scrolling {TAKES} takes, p95",
            p95,
            20,
            17,
            unit="ms",
            detail={"floor ms": floor, "ratio": p95 / floor},
        ),
        Row("... frames over 34 ms", long, 5, 1, unit="%"),
    ]


def _memory(browser: Browser, url: str, far: FarEnd, minutes: float) -> list[Row]:
    """What the page's script holds after its first quarter and at the end, with all boxes telling all the time."""
    with _page(browser) as (page, session):
        page.goto(f"{url}/kit")
        page.wait_for_selector("html[data-life=live] #view .row", timeout=WAIT_MS)
        far.stream(RATE)
        page.wait_for_timeout(1000 * 60 * minutes / 4)
        early = _heap(session)
        page.wait_for_timeout(1000 * 60 * minutes * 3 / 4)
        end = _heap(session)
        far.stream(0)
        _keep(page, "bench-kit")
    return [
        Row(f"memory of the page after {minutes:g} min", end, 200, 120, unit="MB"),
        Row("... more than after a quarter of that", 100 * (end / early - 1), 10, 5, unit="%"),
    ]


def _keep(page: Page, name: str) -> None:
    """A picture where STAGECTL_SHOTS says; nothing if it does not."""
    folder = os.environ.get("STAGECTL_SHOTS")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=str(Path(folder) / f"{name}.png"))


def _heap(session: CDPSession) -> float:
    session.send("HeapProfiler.collectGarbage")
    return float(session.send("Runtime.getHeapUsage")["usedSize"]) / 1e6


def _p95(took: list[float]) -> float:
    return sorted(took)[int(len(took) * 0.95)]


def _first(url: str) -> str:
    with urllib.request.urlopen(f"{url}/api/v1/site", timeout=10) as answer:
        return str(json.load(answer)["devices"][0])


def _takes() -> list[dict[str, Any]]:
    """A long day, newest first, as the daemon tells it."""
    return [_take(number) for number in range(TAKES, 0, -1)]


def _take(number: int) -> dict[str, Any]:
    begin = 8 * 3600 + number * 60
    stamps = [f"2026-11-28T{at // 3600:02d}:{at % 3600 // 60:02d}:{at % 60:02d}.000Z" for at in (begin, begin + 50)]
    lanes = [
        {
            "device": f"deck-{lane}",
            "called": f"Deck {lane}",
            "rolled": stamps[0],
            "give_s": 0.04,
            "start": f"08:00:00:{lane:02d}",
            "start_exact": True,
            "clip": f"T{number:03d}_{lane}",
            "slot": 1,
            "format": "1080p25",
            "length": "00:00:50:00",
            "ended": stamps[1],
            "end": f"08:00:50:{lane:02d}",
            "ended_by": "",
            "note": "",
            "offset": lane,
        }
        for lane in range(5)
    ]
    return {
        "take": number,
        "name": f"Movement {number}",
        "by": "desk",
        "opened": stamps[0],
        "closed": stamps[1],
        "running": False,
        "wanted": [lane["device"] for lane in lanes],
        "rolling": [],
        "good": number % 7 == 0,
        "notes": [],
        "unseen": [],
        "spread": {"frames": 4, "give": 0, "of": 5, "exact": True},
        "common": None,
        "lanes": lanes,
        "say": f"Take {number} ended on 5 of 5.",
    }


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m bench.desk")
    parser.add_argument("--quick", action="store_true", help="an order of magnitude")
    parser.add_argument("--json", action="store_true", help="one JSON document")
    parser.add_argument("--minutes", type=float, help="how long the page stays open for its memory; an hour: 60")
    given = parser.parse_args()
    chromium = shutil.which("chromium")
    if chromium is None:
        print("The page is looked at in Debian's chromium: apt-get install chromium", file=sys.stderr)
        return 2
    try:
        with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
            rows = measure(
                browser,
                build(Path(folder)),
                repeats=3 if given.quick else 9,
                seconds=6 if given.quick else 20,
                minutes=given.minutes or (1 if given.quick else 8),
            )
            browser.close()
    except (BenchError, FarEndError) as why:
        print(why, file=sys.stderr)
        return 2
    print(json.dumps([row.plain() for row in rows]) if given.json else f"{table(rows)}\n\n{details(rows)}")
    return int(any(row.held is False for row in rows))


if __name__ == "__main__":
    sys.exit(main())
