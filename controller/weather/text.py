"""From a file on disk to text and numbered lines; what is no text is refused with a reason."""

from __future__ import annotations

import re
from pathlib import Path

from controller.errors import WeatherFileError

MOST_BYTES = 50_000_000  # our choice: a thousand years of days; anything larger is another file
_UTF16 = (b"\xff\xfe", b"\xfe\xff")


def bytes_of(path: Path) -> bytes:
    """All of the file.

    Raises
    ------
    WeatherFileError
        If there is no such file, it cannot be read, or it is far too large for weather.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise WeatherFileError(f"{path}: there is no such file") from None
    except OSError as fault:
        raise WeatherFileError(f"{path}: cannot be read: {fault.strerror}") from fault
    except ValueError as fault:  # a name with a null character in it
        raise WeatherFileError(f"{path}: cannot be read: {fault}") from fault
    if len(raw) > MOST_BYTES:
        raise WeatherFileError(f"{path}: larger than {MOST_BYTES // 1_000_000} MB; is it weather?")
    return raw


def utf8_text(raw: bytes, path: Path) -> str:
    """The text of a file that must be UTF-8, with or without a byte order mark.

    Raises
    ------
    WeatherFileError
        If it is in another encoding, with the line where that shows.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        raise WeatherFileError(
            f"{path}, line {line}: not UTF-8 text; save it as CSV in UTF-8"
        ) from None
    return _without_nulls(text, path)


def any_text(raw: bytes, path: Path) -> str:
    """The text of a machine's file: UTF-8, UTF-16 with its mark, or the old western code page.

    Raises
    ------
    WeatherFileError
        If it is no text at all.
    """
    try:
        return _without_nulls(raw.decode("utf-16" if raw[:2] in _UTF16 else "utf-8-sig"), path)
    except UnicodeDecodeError:
        # Only a degree sign or a place's name hangs on the code page; digits are the same in all.
        return _without_nulls(raw.decode("cp1252", errors="replace"), path)


def numbered_lines(text: str) -> list[tuple[int, str]]:
    """The lines that say something, with their numbers; lines that begin with # do not."""
    return [(number, line) for number, line in all_lines(text) if line.lstrip()[0] != "#"]


def all_lines(text: str) -> list[tuple[int, str]]:
    """The lines that are not empty, with their numbers."""
    lines = enumerate(re.split(r"\r\n|\n|\r", text), start=1)
    return [(number, line) for number, line in lines if line.strip()]


def _without_nulls(text: str, path: Path) -> str:
    if "\0" in text:
        raise WeatherFileError(f"{path}: not a text file; save it as CSV in UTF-8")
    return text
