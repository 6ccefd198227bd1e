"""The command line: arguments, the clock, printing, exit status. No logic of its own.

Exit status: 0 done; 2 what came in cannot be used, each fault told with how to mend it; 1 anything else.
What costs time to import is imported inside the command that needs it, so that `--help` answers at once:
`typing` itself would be a third of the time that it takes.

    arguments      the commands and their options
    options        the options of all commands, as values
    option_values  what an option means
    job            the commands for one job
    batch          those for many at once
    reissue        those that issue archived jobs again
    archive        those of the office: the archive, and what its jobs call for
    output         lines of a terminal
"""

from __future__ import annotations

import gc
import os
import sys

from handover.cli.arguments import build_parser
from handover.cli.exit_codes import DONE, FAILED, UNUSABLE
from handover.cli.options import Options
from handover.cli.output import log_steps, print_error, print_error_of

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence


def entry() -> None:
    """Run as the console script."""
    # A run is short and keeps most of what it makes: to look for garbage less often saves a tenth of it. Its
    # matrices are small: threads to multiply them would cost more to start than they give. What is left at
    # the end is the system's to take back, not for Python to look through once more.
    gc.set_threshold(50_000, 20, 100)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # No plugin of pydantic's is used: to look for some reads the metadata of every installed package.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    status = main(sys.argv[1:])
    gc.freeze()
    sys.exit(status)


def main(argv: Sequence[str]) -> int:
    """Run one command; return its exit status. The one place where errors become words."""
    try:
        options = build_parser().parse_args(argv, Options())
    except SystemExit as stop:  # argparse has said what there was to say
        return UNUSABLE if stop.code else DONE
    if options.trace:
        log_steps()
    try:
        status = options.run(options)
        sys.stdout.flush()
    except BrokenPipeError:  # whoever was reading has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except KeyboardInterrupt:
        print_error("Stopped. Nothing was written.")
        return FAILED
    except Exception as fault:
        if options.trace:
            raise
        return print_error_of(fault)
    return status or DONE
