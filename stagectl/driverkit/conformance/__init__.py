"""Does my driver keep what drivers promise? `(await check(BOX, host, port, acts=[...])).demand()` in one test."""

from stagectl.driverkit.conformance.bench import Act, Fault, Hand
from stagectl.driverkit.conformance.check import check
from stagectl.driverkit.conformance.report import ConformanceError, Outcome, Report, Row

__all__ = ["Act", "ConformanceError", "Fault", "Hand", "Outcome", "Report", "Row", "check"]
