"""The command line: `claspwright build | survey | sample`.

Exit codes: 0 success, 1 a check failed (or the user stopped it), 2 bad input. Errors are one line on stderr; `--json` puts
one JSON document on stdout.
"""

from .main import main

__all__ = ["main"]
