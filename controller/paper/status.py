"""The daemon's status as text."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from controller.paper.text import open_time, paragraph


def status_text(answer: Mapping[str, Any]) -> str:
    """The daemon's answer in 80 columns: first what is open, then what may be wrong."""
    zone_info = ZoneInfo(str(answer.get("timezone", "UTC")))
    lines = paragraph(f"{answer.get('site', '')}: {answer.get('words', '')}")
    for valve in answer.get("open", []):
        by = ", opened by a person" if valve.get("manual") else ""
        lines.append(
            f"  {valve['zone']} is open, {open_time(valve['remaining_s'])} to go, "
            f"{valve['litres']:.1f} L so far{by}"
        )
    lines += [
        _line("pins", _pins(str(answer.get("pins", "")))),
        _line("clock", _clock(answer)),
        _line("running since", _moment(answer.get("started_utc"), zone_info)),
        _line("planned", _moment(answer.get("planned_utc"), zone_info) or "not yet"),
        _line("weather", _weather(answer.get("weather", {}))),
    ]
    steps = answer.get("days_by_step", [])
    if steps:
        words = ", ".join(f"{s['day'][5:]} {s['step'] or 'not known'}" for s in steps)
        lines.append(_line("weather by day", words))
    lines += _coming(answer, zone_info)
    if "litres_by" in answer:
        lines.append(_line("litres by", _litres_by(str(answer["litres_by"]))))
    lines += _board(answer)
    lines += _silent_sources(answer.get("weather", {}), zone_info)
    lines += _warnings(answer)
    happenings = answer.get("happenings", [])
    if happenings:
        lines.append("  latest events:")
        for row in happenings:
            when = _moment(str(row.get("at_utc") or "") or None, zone_info)
            zone = f" ({row['zone']})" if row.get("zone") else ""
            lines += paragraph(f"{when}  {row.get('kind')}{zone}: {row.get('words')}", "    ")
    return "\n".join(lines) + "\n"


def _coming(answer: Mapping[str, Any], zone_info: ZoneInfo) -> list[str]:
    coming = answer.get("next", [])[:5]
    if not coming:
        return [_line("next", "nothing planned")]
    lines = []
    for number, pulse in enumerate(coming):
        opens = _moment(pulse["opens_utc"], zone_info)
        by = ", by hand" if pulse["valve"] == "hand" else ""
        what = f"{opens}  {pulse['zone']}, {open_time(pulse['open_s'])} open{by}"
        lines.append(_line("next" if number == 0 else "", what))
    return lines


def _warnings(answer: Mapping[str, Any]) -> list[str]:
    lines: list[str] = []
    if answer.get("garden_from_copy"):
        lines += paragraph("the garden file has faults; the last good copy is in use", "  ! ")
    for fault in answer.get("garden_faults", []):
        lines += paragraph(str(fault), "  ! ")
    if answer.get("plan_fault"):
        lines += paragraph(f"no plan: {answer['plan_fault']}", "  ! ")
    for row in answer.get("barred", []):
        zone, state = row["zone"], row["state"]
        words = f"{zone}: its line did not obey ({state}); look at it, then: rowgate reset {zone}"
        lines += paragraph(words, "  ! ")
    if answer.get("shut_by"):
        lines += paragraph(f"{answer['shut_by']}: nothing opens by plan", "  - ")
    for words in answer.get("inputs_unread", []):
        lines += paragraph(str(words), "  ! ")
    for words in answer.get("flows_unknown", []):
        lines += paragraph(str(words), "  - ")
    for words in answer.get("board", {}).get("doubts", []):
        lines += paragraph(str(words), "  ! ")
    if rows := answer.get("rows_set_aside"):
        are = "1 row of the logbook is" if rows == 1 else f"{rows} rows of the logbook are"
        lines += paragraph(f"{are} damaged and kept apart: see the latest events", "  ! ")
    for words in answer.get("not_moving", []):
        lines += paragraph(f"does not respond: {words}", "  ! ")
    for words in answer.get("silent", []):
        lines += paragraph(f"not written down: {words}", "  ! ")
    if closed := [row["zone"] for row in answer.get("closed_for_today", [])]:
        which = ", ".join(closed)
        if len(closed) > 1 and answer.get("all_closed_for_today"):
            which = "all zones on relays"
        words = f"closed by a person for the rest of today: {which}"
        lines += paragraph(f"{words}. To have it planned anew: rowgate resume", "  - ")
    for hold in answer.get("holds", []):
        zones = ", ".join(hold["zones"]) or "all zones"
        until = str(hold["ends_local"])[:16].replace("T", " ")
        why = f" ({hold['reason']})" if hold["reason"] else ""
        lines += paragraph(f"hold: {zones} until {until}{why}", "  - ")
    for left in answer.get("not_fitted", []):
        words = f"not given: {left['zone']}, {left['day']}, {left['litres']:.1f} L"
        lines += paragraph(f"{words}: {left['reason']}", "  - ")
    for remark in answer.get("remarks", []):
        lines += paragraph(str(remark), "  - ")
    return lines


def _litres_by(how: str) -> str:
    """How litres are known, for people."""
    return {"time": "time (computed flow by open time; there is no meter)"}.get(how, how)


def _board(answer: Mapping[str, Any]) -> list[str]:
    """What the board reports, and how often the daemon started; left out if nothing is known."""
    board = answer.get("board", {})
    words = []
    if board.get("disk_free_mb") is not None:
        words.append(f"{board['disk_free_mb'] / 1000:.1f} GB free for the logbook")
    if board.get("memory_mb") is not None:
        words.append(f"{board['memory_mb']:.0f} MB of memory")
    if board.get("heat_c") is not None:
        words.append(f"{board['heat_c']:.0f} C")
    if board.get("weak_supply") is not None:
        words.append("supply too weak" if board["weak_supply"] else "supply good")
    lines = [_line("board", ", ".join(words))] if words else []
    starts = answer.get("starts_in_last_day")
    if starts is not None:
        often = "once" if starts == 1 else f"{starts} times"
        lines.append(
            _line("starts", f"{often} within a day; run before: {answer.get('last_ended', '')}")
        )
    return lines


def _pins(pins: str) -> str:
    return "mock: no valve moves" if pins == "mock" else pins


def _clock(answer: Mapping[str, Any]) -> str:
    if answer.get("clock_believed"):
        return "trusted"
    return f"not trusted, nothing opens by plan: {answer.get('clock_doubt')}"


def _weather(weather: Mapping[str, Any]) -> str:
    if not weather.get("last_day"):
        return "none yet"
    failed = "; the last asking failed" if weather.get("failed") else ""
    if weather.get("credit"):
        failed += f". {weather['credit']}"
    return f"last day {weather['last_day']} from {weather['last_source']}{failed}"


def _silent_sources(weather: Mapping[str, Any], zone_info: ZoneInfo) -> list[str]:
    """The weather sources that give nothing new, since when, and their own words."""
    lines: list[str] = []
    for row in weather.get("silent", []):
        since = _moment(row.get("silent_since_utc"), zone_info)[:16]
        if row.get("heard_before"):
            words = f"{row['source']} gives nothing new since {since}"
        else:
            words = f"{row['source']} gave nothing yet, asked since {since}"
        lines += paragraph(f"weather: {words}: {row.get('why', '')}", "  ! ")
    return lines


def _line(name: str, words: str) -> str:
    return "\n".join(paragraph(f"  {name:<14} {words}", then=" " * 17))


def _moment(text: str | None, zone_info: ZoneInfo) -> str:
    if not text:
        return ""
    return datetime.fromisoformat(text).astimezone(zone_info).strftime("%Y-%m-%d %H:%M:%S")
