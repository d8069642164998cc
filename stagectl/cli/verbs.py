"""Which verbs has the terminal? One table; the code of a verb is loaded when it is called."""

import importlib
import sys
from collections.abc import Mapping, Sequence
from typing import Any, Final

import click

from stagectl.cli.codes import Exit

VERBS: Final[Mapping[str, str]] = {
    # verb: module and name of its command, in the order of the help
    "now": "reads:now",
    "watch": "watch:watch",
    "roll": "acts:roll",
    "cut": "acts:cut",
    "takes": "sheet:takes",
    "take": "sheet:take",
    "slate": "acts:slate",
    "good": "acts:good",
    "note": "acts:note",
    "mark": "acts:mark",
    "correct": "acts:correct",
    "handoff": "handoff:handoff",
    "copy": "copyoff:copy",
    "scene": "scene:scene",
    "scenes": "scene:scenes",
    "setup": "setup:setup",
    "paths": "reads:paths",
    "route": "route:route",
    "station": "station:station",
    "play": "play:play",
    "level": "settings:level",
    "mute": "settings:mute",
    "set": "settings:set_point",
    "lineup": "readiness:lineup",
    "clock": "readiness:clock",
    "media": "readiness:media",
    "kit": "reads:kit",
    "points": "reads:points",
    "wrong": "wrong:wrong",
    "journal": "journal:journal",
    "hold": "entry:hold",
    "login": "entry:login",
    "logout": "entry:logout",
    "people": "people:people",
    "token": "entry:token",
    "guest": "entry:guest",
    "hook": "hooks:hook",
    "ca": "authority:ca",
    "serve": "running:serve",
    "demo": "demo:demo",
    "doctor": "doctor:doctor",
    "check": "files:check",
    "schema": "files:schema",
    "drivers": "files:drivers",
    "simulate": "simulate:simulate",
    "backup": "backup:backup",
    "restore": "backup:restore",
}


class Verbs(click.Group):
    """The verbs, loaded when called; what goes wrong is one sentence and an exit code."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in VERBS:
            return None
        module, name = VERBS[cmd_name].split(":")
        command = getattr(importlib.import_module(f"stagectl.cli.{module}"), name)
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in VERBS and not args[0].startswith("-") and not ctx.resilient_parsing:
            raise click.exceptions.NoSuchCommand(
                args[0], f'There is no verb "{args[0]}".', possibilities=VERBS, ctx=ctx
            )
        return super().resolve_command(ctx, args)

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        """Run one verb and end with its exit code; outside standalone mode, return it."""
        code = self._run(args, prog_name, complete_var, **extra)
        if not standalone_mode:
            return code
        sys.exit(code)

    def _run(self, args: Sequence[str] | None, prog_name: str | None, complete_var: str | None, **extra: Any) -> int:
        try:
            code = super().main(args, prog_name, complete_var, standalone_mode=False, **extra)
        except click.exceptions.NoArgsIsHelpError as nothing:
            print(nothing.format_message(), file=sys.stderr)
            return Exit.UNCLEAR
        except click.UsageError as unclear:
            help_at = f" See: {unclear.ctx.command_path} --help" if unclear.ctx is not None else ""
            print(f"{unclear.format_message()}{help_at}", file=sys.stderr)
            return Exit.UNCLEAR
        except click.ClickException as wrong:
            print(wrong.format_message(), file=sys.stderr)
            return Exit.UNCLEAR
        except click.Abort:
            return Exit.LEFT
        return int(code or 0)


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="stagectl", message="stagectl %(version)s")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option("--plain", is_flag=True, help="No redraw, no drawn lanes, one fact a line; as with NO_COLOR.")
@click.pass_context
def main(ctx: click.Context, as_json: bool, plain: bool) -> None:
    """Roll, cut and see the recorders, routers and mixers of a small studio.

    Names may be shortened as long as one box is meant. STAGECTL_URL tells where the daemon is, if not at
    http://127.0.0.1:8420; STAGECTL_WHO names you, as the site file does.

    \b
    Exit codes: 0 done and proven; 1 something asked failed;
    2 not understood; 3 not known if it happened; 4 refused by a role or
    guard; 5 stagectl is not reached; 6 the answer is no; 130 left by Ctrl-C.

    \b
    Completion, also zsh_source and fish_source:
    eval "$(_STAGECTL_COMPLETE=bash_source stagectl)"
    """  # noqa: D301 - the mark is click's: keep these lines as they are
    ctx.obj = {"json": as_json, "plain": plain}
