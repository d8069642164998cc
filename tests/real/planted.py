"""A bug on purpose in a real daemon: Python reads a file of ours when it starts, and that file changes the product.

Nothing of the product knows of it: `sitecustomize` is Python's own (docs.python.org, module site). A checker that has
never failed is not known to work.
"""

import os
import textwrap
from pathlib import Path
from typing import Final

STOP_ON_CONNECT: Final = """
    from stagectl_drivers.text_deck import driver

    look = driver.TextDeckDriver.look

    def look_and_stop(self, names):
        requests = list(look(self, names))
        if names is None:
            requests.append(type(requests[0])("stop"))
        return requests

    driver.TextDeckDriver.look = look_and_stop
"""

FORGETFUL: Final = """
    from stagectl.control import journal

    journal.Journal.replay = lambda self: iter(())
"""


def planted(folder: Path, bug: str) -> dict[str, str]:
    """The environment in which a daemon has the bug."""
    home = folder / "planted"
    home.mkdir(exist_ok=True)
    # drivers are loaded when they are looked for; by then the site's packages can be imported
    (home / "sitecustomize.py").write_text(textwrap.dedent(bug), encoding="utf-8")
    return {"PYTHONPATH": os.pathsep.join([str(home), *filter(None, [os.environ.get("PYTHONPATH")])])}
