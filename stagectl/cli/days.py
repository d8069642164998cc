"""How is a day written in a terminal? "today", or a date."""

import asyncio
from collections.abc import Callable, Sequence
from datetime import date

import click


def day(_ctx: click.Context, _param: click.Parameter, value: str | None) -> date | None:
    """Read an option's value; None: it was not given."""
    if value is None:
        return None
    if value == "today":
        from stagectl.driverkit.real import RealClock

        with asyncio.Runner() as runner:
            return RealClock(runner.get_loop()).wall().astimezone().date()
    try:
        return date.fromisoformat(value)
    except ValueError as error:
        raise click.BadParameter(f'"{value}" is no day. Say today, or a date like 2026-11-28.') from error


def days_option(verb: Callable[..., int]) -> Callable[..., int]:
    """The option --day that may be said again, as dates in text."""

    def every(ctx: click.Context, param: click.Parameter, values: Sequence[str]) -> list[str]:
        return [str(day(ctx, param, value)) for value in values]

    return click.option("--day", "days", callback=every, multiple=True, metavar="today|DATE", help="Of these days.")(
        verb
    )
