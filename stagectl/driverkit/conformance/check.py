"""Does a driver keep what drivers promise? Tries every claim on one box, in an order in which none spoils the next."""

from collections.abc import Awaitable, Callable, Collection, Mapping, Sequence
from typing import Final

from stagectl.driverkit.conformance import claims, garbage
from stagectl.driverkit.conformance.bench import Act, Bench, Fault, Hand
from stagectl.driverkit.conformance.report import ClaimError, ConformanceError, NotAskedError, Outcome, Report, Row
from stagectl.driverkit.driver import BoxKind

Claim = Callable[[Bench], Awaitable[str]]

CLAIMS: Final[tuple[Claim, ...]] = (
    claims.connects_reading_only,
    claims.looks_are_reads,
    claims.points_keep_their_specs,
    claims.acts_are_seen,
    claims.acts_are_no_reads,
    claims.refusals_are_sentences,
    claims.line_ends_are_refused,
    claims.a_hand_is_seen,
    claims.a_lost_link_comes_back,
    claims.slow_answers_meet_their_questions,
    claims.single_bytes_make_whole_answers,
    claims.answers_in_one_piece_are_taken_apart,
    garbage.noise_is_survived,
    garbage.an_endless_line_is_ended,
    garbage.a_flood_leaves_nothing,
    garbage.any_split_gives_the_same_events,
    garbage.a_word_it_lacks_is_unknown,
    garbage.damaged_bytes_are_no_slip,
)


async def check(
    kind: BoxKind,
    host: str,
    port: int,
    *,
    options: Mapping[str, str] | None = None,
    acts: Sequence[Act] = (),
    hand: Hand | None = None,
    faults: Sequence[Fault] = (),
    only: Collection[str] = (),
    patience_s: float = 25.0,
) -> Report:
    """Try every claim on the box or simulator at `host` and `port`; takes some ten to thirty seconds.

    Args:
        kind: the driver, as its entry point names it.
        host: where the box listens; it must take two clients at a time.
        port: likewise.
        options: the site's options for the driver.
        acts: what may be done to the box, each with its undoing; done several times.
        hand: what somebody does at the box, without the driver.
        faults: ways to make the box misbehave.
        only: names of claims as the report has them; the first is tried anyway. Empty: all of them.
        patience_s: how long the box may take to be read whole, over any wire and after any fault.
    Returns: a row for each claim; `demand()` raises ConformanceError if one failed.
    Raises:
        ValueError: `only` names no claim.
        ConformanceError: the box is not adopted at all, so there is nothing to try the other claims on.
    """
    names = [*(_named(claim.__name__) for claim in CLAIMS), *(_fault_named(fault) for fault in faults)]
    for name in only:
        if name not in names:
            raise ValueError(f'There is no claim "{name}". There are: {", ".join(names)}.')
    report = Report(kind.name)
    async with Bench(kind, (host, port), options or {}, acts, hand, faults, patience_s) as bench:
        for claim in CLAIMS:
            if only and claim is not CLAIMS[0] and _named(claim.__name__) not in only:
                continue
            await _try(report, claim.__name__, claim.__doc__, lambda claim=claim: claim(bench), bench)  # type: ignore[misc]
            if claim is CLAIMS[0] and report.failed:
                raise ConformanceError(report)
        for fault in faults:
            name = _fault_named(fault)
            if only and name not in only:
                continue
            about = claims.a_fault_passes.__doc__
            await _try(report, name, about, lambda fault=fault: claims.a_fault_passes(bench, fault), bench)  # type: ignore[misc]
    return report


def _named(claim: str) -> str:
    """A claim's name in reports."""
    return claim.replace("_", " ")


def _fault_named(fault: Fault) -> str:
    return f"a fault passes: {fault.name}"


async def _try(report: Report, name: str, about: str | None, claim: Callable[[], Awaitable[str]], bench: Bench) -> None:
    slip = bench.slip
    try:
        outcome, seen = Outcome.HELD, await claim()
        if bench.slip and not slip:
            outcome, seen = Outcome.FAILED, f"the driver raised {bench.slip}"
    except ClaimError as error:
        outcome, seen = Outcome.FAILED, str(error)
    except NotAskedError as missing:
        outcome, seen = Outcome.NOT_ASKED, str(missing)
    except Exception as error:  # noqa: BLE001 - whatever a driver raises is its failure, and the next claims are tried
        outcome, seen = Outcome.FAILED, f"{type(error).__name__}: {error}"
    bench.proxy.heal()
    report.rows.append(Row(_named(name), (about or "").strip(), outcome, seen))
