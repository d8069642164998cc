"""Where does the daemon's log go, and how does it look? To stderr: lines for people on a terminal, JSON otherwise."""

import logging
import os
import sys
from typing import Final

import structlog

LEVELS: Final = ("debug", "info", "warning", "error")


def set_up(level: str, *, for_good: bool = True) -> None:
    """Set the log up for this process; `level` is one of LEVELS. `for_good`: loggers may keep what they are now."""
    people = sys.stderr.isatty()
    colors = people and not os.environ.get("NO_COLOR")
    last: structlog.typing.Processor = (
        structlog.dev.ConsoleRenderer(colors=colors) if people else structlog.processors.JSONRenderer()
    )
    faults: tuple[structlog.typing.Processor, ...] = () if people else (structlog.processors.format_exc_info,)
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            *faults,
            last,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=for_good,
    )
    logging.basicConfig(level=logging.WARNING, stream=sys.stderr, format="%(levelname)s %(name)s: %(message)s")
