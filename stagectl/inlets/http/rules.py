"""What is the least that a route asks of who comes? Every route declares it; a route without a rule opens no door."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from stagectl.control.access import NOBODY, Person, Role, allowed, proved
from stagectl.model.errors import RefusedError


class Least(StrEnum):
    """What is asked for, least first."""

    PUBLIC = "nothing"  # no token; tells nothing of the house
    OWN = "a token"  # any: it is about the token itself
    SEE = "viewer"  # who may read the house: not a guest
    ACT = "operator"  # whose role and token grant one of the rule's words
    PROVED = "operator, logged in"  # a person who proved a password: no machine, no guest
    MANAGE = "engineer, fresh login"


@dataclass(frozen=True, slots=True)
class Rule:
    """The rule of one route.

    Attributes:
        words: an act's, one of which a token must grant; none: what is asked for is known only inside, and judged
            there by the same `access.allowed`.
    """

    least: Least
    words: tuple[str, ...] = ()

    def admit(self, person: Person) -> None:
        """Let a person in, or say why not. Raises RefusedError, code "token", "role" or "fresh"."""
        if self.least is Least.PUBLIC:
            return
        if person is NOBODY:
            raise RefusedError("This needs a token.", remedy="Log in: stagectl login", code="token")
        if person.shows is not None and person.shows.ended:
            raise RefusedError(f"The token of {person.name} has ended.", remedy="Log in again.", code="token")
        match self.least:
            case Least.OWN:
                return
            case Least.SEE:
                if not person.sees:
                    raise RefusedError(f"{person.name} may not see the house.", remedy="Ask an operator.", code="role")
            case Least.ACT:
                if self.words or person.role is Role.VIEWER:
                    allowed(person, self.words)
            case _:
                self._proved(person)

    def _proved(self, person: Person) -> None:
        wanted = Role.ENGINEER if self.least is Least.MANAGE else Role.OPERATOR
        if person.role is not Role.ENGINEER and person.role is not wanted:
            raise RefusedError(f"This is for the role {wanted}.", remedy=f"Ask an {wanted}.", code="role")
        if person.shows is None or not person.shows.login:
            raise RefusedError(
                f"This is for an {wanted} who has logged in.",
                remedy="Make an account: stagectl people add. Then: stagectl login",
                code="role",
            )
        if self.least is Least.MANAGE:
            proved(person)


PUBLIC: Final = Rule(Least.PUBLIC)
OWN: Final = Rule(Least.OWN)
SEE: Final = Rule(Least.SEE)
PROVED: Final = Rule(Least.PROVED)
MANAGE: Final = Rule(Least.MANAGE)


def act(*words: str) -> Rule:
    """An act that one of these words grants; none: judged inside."""
    return Rule(Least.ACT, words)
