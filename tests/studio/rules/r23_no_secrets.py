"""No password and no token stands on the disk, in a log, in an answer or in what a page, a take or an alarm shows."""

from collections.abc import Iterator

from tests.studio.histories import Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    for secret, whose in run.secrets.items():
        where = next((where for where, text in run.texts if secret in text), None)
        if where is not None:
            yield Breach(23, run.ended, f"{whose} can be read in {where}")
