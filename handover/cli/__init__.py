"""The command line: arguments, the clock, printing, exit status. No logic of its own.

Exit status: 0 done; 2 the input is unusable, and each fault says how to fix it; 1 anything else.
Each command imports what is slow to import itself, so that `--help` answers at once: `typing` alone would
be a third of the time that it takes.

    arguments      the commands and their options
    options        the options of all commands, as values
    option_values  the meaning of options
    job            commands for one job
    interview      the questions of a new record
    starts         the command before the pour
    join           the command for several slabs of one site
    batch          commands for many jobs at once
    reissue        commands that issue archived jobs again
    archive        commands of the office: the archive, and what is due
    desk           commands of the desk
    output         printing on a terminal
"""

from __future__ import annotations

import gc
import os
import sys

from handover.base.interruption import install_handlers, is_requested
from handover.cli.arguments import build_parser
from handover.cli.exit_codes import DONE, FAILED, UNUSABLE
from handover.cli.options import Options
from handover.cli.output import log_steps, print_error, print_error_of

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence


def entry() -> None:
    """Run as the console script."""
    # A run for one job is over before it has left much garbage, so that it collects none. Its matrices are
    # small: threads for them would cost more to start than they save. At the end the system frees the memory;
    # Python need not search it once more.
    gc.set_threshold(1_000_000, 20, 100)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # No plugin of pydantic's is used: to look for some reads the metadata of every installed package.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    install_handlers()
    status = main(sys.argv[1:])
    gc.freeze()
    sys.exit(status)


def main(argv: Sequence[str]) -> int:
    """Run one command; return its exit status. Errors become messages here and nowhere else."""
    try:
        options = build_parser().parse_args(argv, Options())
    except SystemExit as stop:  # argparse has printed its message
        return UNUSABLE if stop.code else DONE
    if options.trace:
        log_steps()
    try:
        status = options.run(options)
        sys.stdout.flush()
    except BrokenPipeError:  # the reader has closed the pipe
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except KeyboardInterrupt:
        return _report_stop()
    except Exception as fault:
        if is_requested():
            return _report_stop()
        if options.trace:
            raise
        return print_error_of(fault, writes=options.writes)
    return status or DONE


def _report_stop() -> int:
    print_error("Stopped. Nothing half-written is left.")
    return FAILED
