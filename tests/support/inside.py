"""Run the command in a process of its own into which a fault has been put first.

The fault is code that runs before the command does. It patches the system's calls (`os`), or
counts lines: what the command itself does stays as it is.
"""

import os
import subprocess
import sys
from pathlib import Path

from tests.support.tool import copied

_RUN = """
import sys
sys.argv = ["romtool", *sys.argv[1:]]
import romtool.cli
{code}
romtool.cli.main()
"""

TWO_CORES = """
import os, romtool.commands.spread
os.sched_getaffinity = lambda process: {0, 1}
romtool.commands.spread.MANY = 2
"""
ONE_CORE = "import os; os.sched_getaffinity = lambda process: {0}"


def spoilt(
    code: str, *args: str, cwd: Path | None = None, stderr: int = subprocess.PIPE
) -> subprocess.CompletedProcess[bytes]:
    """Run the command with this code before it, in a copy of this process."""
    return copied(*args, before=lambda: exec(code, {}), cwd=cwd, stderr=stderr)


def spoilt_anew(
    code: str, *args: str, cwd: Path | None = None
) -> subprocess.CompletedProcess[bytes]:
    """The same in a Python of its own, which holds nothing but the command."""
    return subprocess.run(
        [sys.executable, "-c", _RUN.format(code=code), *args],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        cwd=cwd,
        env={key: value for key, value in os.environ.items() if key != "ROMTOOL_SCHEMAS"},
        timeout=600,
        check=False,
    )
