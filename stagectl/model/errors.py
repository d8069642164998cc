"""What went wrong, sorted by what is known of the effect: that decides the verdict.

StagectlError
├── SiteError       a file is wrong; nothing started
├── RefusedError    we said no; no byte was sent              -> failed
├── DeviceError     the device said no, with its own code     -> failed, unless points say otherwise
├── LinkError       lost, silent or late: effect unknown      -> unconfirmed
└── ProtocolError   the bytes break the sheet: effect unknown -> unconfirmed
"""


class StagectlError(Exception):
    """Base of all errors of the project; `str()` is one sentence for the operator."""


class SiteError(StagectlError):
    """A site, scene or set-up file is wrong; nothing was started from it."""


class RefusedError(StagectlError):
    """We said no before a byte was sent.

    Attributes:
        remedy: what the person can do, one sentence; empty if the sentence already says it.
        code: short stable word for programs, such as "needs", "locked", "no-link".
        word: said with the same wish it lets that pass; empty: there is none.
    """

    def __init__(self, why: str, *, remedy: str = "", code: str = "refused", word: str = "") -> None:
        super().__init__(why)
        self.remedy = remedy
        self.code = code
        self.word = word


class DeviceError(StagectlError):
    """The device said no in its own words."""


class LinkError(StagectlError):
    """The link is lost, silent or late: whether anything happened is not known."""


class ProtocolError(StagectlError):
    """The bytes break the sheet: the codec is spent, close the link and read anew."""
