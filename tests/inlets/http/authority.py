"""Certificates of a studio's own authority, made as people make them."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from stagectl.cli import authority, main
from stagectl.inlets.http.opening import Tls

NAME = "stage.example"
NAMES = (NAME, "localhost")


def issue(folder: Path, *names: str, days: int = authority.DAYS) -> Tls:
    """A certificate of these names in `folder`, from its own authority; made anew it takes the place of the old."""
    commands = [["ca", "issue", str(folder), *names]]
    if not (folder / "ca.pem").exists():
        commands.insert(0, ["ca", "new", str(folder)])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(authority, "DAYS", days)
        for args in commands:
            result = CliRunner().invoke(main, args)
            assert result.exit_code == 0, result.stderr
    return Tls(folder / f"{names[0]}.pem", folder / f"{names[0]}.key")
