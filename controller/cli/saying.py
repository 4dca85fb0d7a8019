"""Words and documents on their way out; kept so small that talking to the daemon starts at once."""

from __future__ import annotations

import json
import sys
from typing import Any

from controller.cli.plain import spelled


def tell(words: str) -> None:
    """Say something that is not the answer: on stderr, so that a pipe gets the answer alone."""
    print(words, file=sys.stderr)


def print_json(value: Any) -> None:
    """One JSON document."""
    print(spelled(json.dumps(value, indent=2, ensure_ascii=False)))
