"""How is the daemon asked from a terminal?"""

import click


@click.group()
@click.version_option(package_name="stagectl")
def main() -> None:
    """Roll, cut and see the recorders, routers and mixers of a small studio."""
