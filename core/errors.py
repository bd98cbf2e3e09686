"""Named errors. Each message is one line that says what is wrong, where, and what to do about it."""


class ClaspwrightError(Exception):
    """Base of all errors that a user can cause and mend. The command line prints it in one line and exits with 2."""

    exit_code = 2


class CastError(ClaspwrightError):
    """A scan that cannot be read, or cannot be a dental cast."""


class CaseError(ClaspwrightError):
    """A case file that cannot be read or is not valid; the message names the field."""


class WriteError(ClaspwrightError):
    """A file or folder that cannot be written; what was there before is as it was."""


class GeometryError(ClaspwrightError):
    """A geometric step without a result (open where closed is needed, empty boolean, no section...)."""


class ComponentError(ClaspwrightError):
    """A component that cannot be built where it is asked: says why, and what would make it possible."""


class Cancelled(ClaspwrightError):
    """The user stopped a long job."""

    exit_code = 1
