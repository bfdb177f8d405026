"""What people typed, made safe to print: control characters taken out."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

# C0 and C1 control characters and DEL (escape sequences of terminals begin with one), and the marks that change
# the direction of writing, with which one tag can be made to look like another (Unicode UAX #9).
_UNSAFE = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069]+")
_SEQUENCE = re.compile("(?:\x1b\\[|\x9b)[0-?]*[ -/]*[@-~]|\x1b\\][^\x07\x1b]*(?:\x07|\x1b\\\\)?")


def plain(text: object) -> str:
    """The text on one line without escape sequences and control characters; each run of these becomes a space."""
    words = str(text)
    return words if words.isprintable() else _UNSAFE.sub(" ", _SEQUENCE.sub("", words))


def json_text(content: object, default: Callable[[Any], Any] | None = None) -> str:
    """JSON that a program reads back unchanged and no terminal obeys: what is unsafe to print is spelled out.

    default : turns into something JSON knows what it does not, as for `json.dumps`. Raises ValueError for NaN.
    """
    text = json.dumps(content, default=default, ensure_ascii=False, indent=2, allow_nan=False)
    # all that may be left in it are line ends of the layout, and unsafe characters inside strings
    return _UNSAFE.sub(lambda run: "".join(c if c == "\n" else f"\\u{ord(c):04x}" for c in run[0]), text)
