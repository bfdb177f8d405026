"""A solver's stray lines do not reach standard output."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from tapwear.plan.quiet import quiet_stdout


def test_lines_written_past_python_are_lost_and_later_ones_are_not(capfd: pytest.CaptureFixture[str]) -> None:
    print("before")
    with quiet_stdout(), quiet_stdout():
        os.write(1, b"stray\n")
        os.write(2, b"complaint\n")
    os.write(1, b"after\n")
    seen = capfd.readouterr()
    assert seen.out == "before\nafter\n"
    assert seen.err == "complaint\n"


def test_standard_output_comes_back_after_an_error(capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(ZeroDivisionError), quiet_stdout():
        os.write(1 // 0, b"stray\n")
    os.write(1, b"after\n")
    assert capfd.readouterr().out == "after\n"


@pytest.mark.skipif(sys.platform == "win32", reason="asks the C library by its POSIX name")
def test_what_the_c_library_holds_back_is_lost_too() -> None:
    code = (
        "import ctypes, os\n"
        "from tapwear.plan.quiet import quiet_stdout\n"
        "with quiet_stdout():\n"
        "    ctypes.CDLL(None).printf(b'stray')\n"
        "os.write(1, b'after')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "after"
    assert done.stderr == ""
