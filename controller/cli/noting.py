"""The arguments of note: every kind of thing that a person writes down."""

from __future__ import annotations

import argparse

from controller.cli.arguments import day, number, runtime, state


def note_arguments(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add note to the commands."""
    note = commands.add_parser("note", help="write down what a person did or saw")
    note.add_argument("--garden", metavar="GARDEN", help="garden file")
    state(note)
    runtime(note)
    kinds = note.add_subparsers(dest="kind", required=True, metavar="KIND")
    watered = kinds.add_parser("watered", help="a zone was watered by hand")
    watered.add_argument("zone", metavar="ZONE")
    watered.add_argument("--minutes", type=float, metavar="N", help="time its valve was open")
    watered.add_argument("--amount", metavar="VOLUME", help='as in "12 gal" or "40 L"')
    rain = kinds.add_parser(
        "rain",
        help="what the rain gauge held",
        description="One reading of the gauge, which is emptied then: readings of one day add up. "
        "What was wrong is put right with --replace.",
    )
    rain.add_argument("depth", metavar="DEPTH", help='as in "0.4 in" or "10 mm"')
    rain.add_argument(
        "--replace",
        action="store_true",
        help="it is all of that day's rain, in place of what was noted for it before",
    )
    meter = kinds.add_parser("meter", help="what the water meter reads")
    meter.add_argument("reading", metavar="VOLUME", help='as in "81234 L"')
    soil = kinds.add_parser(
        "soil",
        help="what a probe or a hand says of a zone's soil; a check on the ledger",
        description="Percent of the soil's volume that is water (as in 21), or how it feels: dry, "
        "moist, wet. balance shows it beside the ledger, as do plan and check where they differ; "
        "no account is changed by it, unless you add --start.",
    )
    soil.add_argument(
        "--start",
        action="store_true",
        help="take it as what the account has that evening, where the line wets the ground",
    )
    unsoil = kinds.add_parser(
        "unsoil", help="take the new start of an account back; without a number: list them"
    )
    unsoil.add_argument("number", nargs="?", type=number, metavar="NUMBER")
    soil.add_argument("zone", metavar="ZONE")
    soil.add_argument("value", nargs="+", metavar="VALUE", help='as in 21, "21 %%" or moist')
    seen = kinds.add_parser(
        "seen",
        help="what was seen of a zone's plants, which moves their stage",
        description="What was seen: up, spreading (a tenth of the ground covered), full cover or "
        "first flowers, first ripe (picking begins), ripening (lower leaves yellow), last picking, "
        "tops fallen (stops the water of onion, garlic, potato), gone (ends the planting).",
    )
    seen.add_argument("zone", metavar="ZONE")
    seen.add_argument(
        "event", nargs="+", metavar="EVENT", help='as in "full cover", "tops falling"'
    )
    seen.add_argument("--crop", default="", metavar="CROP", help="where a zone holds several")
    unseen = kinds.add_parser("unseen", help="take what was seen back; without a number: list it")
    unseen.add_argument("number", nargs="?", type=number, metavar="NUMBER")
    mended = kinds.add_parser(
        "mended",
        help="a zone's line was mended or changed, or is as it should be",
        description="What the meter saw of the zone up to that day no longer counts: from the next "
        "day on its flow is held against its new first weeks.",
    )
    mended.add_argument("zone", metavar="ZONE")
    words = kinds.add_parser("words", help="anything else")
    words.add_argument("words", metavar="WORDS")
    words.add_argument("--zone", metavar="ZONE")
    field_tests = _field_tests(kinds)
    for kind in (watered, rain, meter, soil, unsoil, seen, unseen, mended, words, *field_tests):
        kind.add_argument("--on", dest="day", type=day, metavar="DATE", help="day (today)")
        kind.add_argument("--who", default="", metavar="NAME")
        kind.add_argument(
            "--force", action="store_true", help="write it down though it looks like a slip"
        )


def _field_tests(
    kinds: argparse._SubParsersAction[argparse.ArgumentParser],
) -> list[argparse.ArgumentParser]:
    cups = kinds.add_parser("cups", help="field test: water caught under some holes")
    stream = kinds.add_parser("stream", help="field test: how high or far the streams go")
    bucket = kinds.add_parser("bucket", help="field test: a row, or the open tap, into a bucket")
    run = kinds.add_parser("run", help="field test: the house meter before and after a run")
    gauge = kinds.add_parser("gauge", help="field test: the pressure at the tap")
    count = kinds.add_parser("count", help="field test: how many holes of a zone run")
    count.add_argument("zone", metavar="ZONE")
    count.add_argument("--running", required=True, type=number, metavar="N", help="holes that run")
    for kind in (cups, stream):
        kind.add_argument("zone", metavar="ZONE")
        kind.add_argument("--holes", required=True, metavar="N,N", help="numbers from the inlet")
    cups.add_argument("--volumes", required=True, metavar="V,V", help='as in "90 mL,88 mL"')
    stream.add_argument("--heights", metavar="H,H", help='upward streams, as in "3 in,2.5 in"')
    stream.add_argument("--reaches", metavar="R,R", help="level streams, with --drop")
    stream.add_argument("--drop", metavar="DROP", help="from the hole down to where it lands")
    bucket.add_argument("zone", nargs="?", metavar="ZONE", help="without one: the open tap")
    bucket.add_argument("--amount", required=True, metavar="VOLUME")
    run.add_argument("--before", required=True, metavar="VOLUME")
    run.add_argument("--after", required=True, metavar="VOLUME")
    gauge.add_argument("pressure", metavar="PRESSURE", help='as in "31 psi"')
    for kind in (cups, stream, bucket):
        kind.add_argument("--row", type=number, metavar="N", help="which row of the zone")
    for kind in (cups, bucket, run):
        kind.add_argument("--time", required=True, metavar="TIME", help='as in "30 s"')
    tests = [cups, stream, bucket, run, gauge, count]
    for kind in tests:
        kind.add_argument("--open", dest="open_zones", metavar="ZONE,ZONE", help="zones open")
        kind.add_argument("--error", metavar="ERROR", help="how far off it may be, if you know")
    back = kinds.add_parser("back", help="take a field test back")
    back.add_argument("number", type=number, metavar="NUMBER")
    return [*tests, back]
