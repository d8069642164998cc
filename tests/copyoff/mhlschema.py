"""What do the standard's own schemas say of a document? Offline: the combined schema holds both.

Source: tests/standards/asc-mhl, see NOTICE there.
"""

from pathlib import Path
from typing import Final

from lxml import etree

STANDARD: Final = Path(__file__).parent.parent / "standards" / "asc-mhl"


def check_manifest(data: bytes) -> None:
    """Raises lxml.etree.DocumentInvalid."""
    _schema("ASCMHL.xsd").assertValid(etree.fromstring(data))


def check_chain(data: bytes) -> None:
    """Raises lxml.etree.DocumentInvalid."""
    _schema("ASCMHLDirectory__combined.xsd").assertValid(etree.fromstring(data))


def _schema(name: str) -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(STANDARD / name, etree.XMLParser(no_network=True)))
