"""How is the daemon asked from a terminal?"""

from stagectl.cli.verbs import main

__all__ = ["main"]
