"""The supply of the model from the file as written: mains, a barrel, or a pressure regulator."""

from __future__ import annotations

from controller.garden import show
from controller.garden.filling import Filling
from controller.garden.lines import Path
from controller.garden.model import Supply, SupplyKind
from controller.garden.needed import NEEDED

_AT: Path = ("supply",)
# The key that gives the still tap's pressure, by kind of supply, and those of other kinds.
_STILL = {
    SupplyKind.MAINS: "static_pressure",
    SupplyKind.BARREL: "level",
    SupplyKind.REGULATOR: "set_pressure",
}
_OTHERS = {
    SupplyKind.MAINS: ("level", "falls_to", "holds", "set_pressure"),
    SupplyKind.BARREL: ("static_pressure", "set_pressure"),
    SupplyKind.REGULATOR: ("level", "falls_to", "holds"),
}
_ASKS = {
    SupplyKind.BARREL: 'how high its water stands above the tap when full is needed, as in "4 ft"',
    SupplyKind.REGULATOR: 'the pressure it is set to is needed, as in "25 psi"',
}


def supply_of(filling: Filling) -> Supply:
    """The supply; what is missing or belongs to another kind is noted."""
    supply = filling.written.supply
    kind = filling.default(_AT, "kind", supply.kind, SupplyKind.MAINS, "mains")
    for key in _OTHERS[kind]:
        if filling.faults.is_written((*_AT, key)):
            others = " or a ".join(k for k in SupplyKind if k is not kind and key not in _OTHERS[k])
            filling.faults.add(
                (*_AT, key), f'found it with kind = "{kind}"; {key} belongs to a {others}'
            )
    still_m = {
        SupplyKind.MAINS: supply.static_head_m,
        SupplyKind.BARREL: supply.level_m,
        SupplyKind.REGULATOR: supply.set_head_m,
    }[kind]
    if still_m is None:
        place = (*_AT, _STILL[kind])
        asked = _ASKS.get(kind) or NEEDED[("supply", "static_pressure")][0]
        filling.faults.add(place, f"found nothing; {asked}")
        filling.faults.spoil(place)
        still_m = 200.0
    elif kind is SupplyKind.REGULATOR and (supply.static_head_m or still_m + 1.0) <= still_m:
        before = show.show_pressure(supply.static_head_m or 0.0, filling.us)
        filling.faults.add(
            (*_AT, "set_pressure"),
            f"found {show.show_pressure(still_m, filling.us)}; a regulator only lowers, so it is "
            f"set below static_pressure before it, {before}",
            needs=[(*_AT, "static_pressure")],
        )
    flow_m3_s, test_head_m = _flow_test(filling, kind)
    falls_to_m = supply.falls_to_m
    if kind is SupplyKind.BARREL:
        falls_to_m = filling.default(
            _AT, "falls_to", falls_to_m, 0.0, show.show_length(0.0, filling.us), "down to the tap"
        )
    return Supply(
        static_head_m=still_m,
        test_head_m=test_head_m,
        test_flow_m3_s=flow_m3_s,
        exponent=filling.default(
            _AT, "exponent", supply.exponent, 2.0, "2", "loss grows as flow squared"
        ),
        kind=kind,
        falls_to_m=falls_to_m,
        holds_m3=supply.holds_m3,
        water_temp_c=filling.default(
            _AT,
            "water_temperature",
            supply.water_temp_c,
            15.0,
            show.show_temperature(15.0, filling.us),
            "our choice: mains water in a growing season",
        ),
        salt_ds_m=supply.salt_ds_m,
        tested_on=supply.flow_test.on,
    )


def _flow_test(filling: Filling, kind: SupplyKind) -> tuple[float, float]:
    """Flow of the test, and the head at the tap meanwhile."""
    test = filling.written.supply.flow_test
    at: Path = (*_AT, "flow_test")
    keys = [(*at, key) for key in ("flow", "pressure", "fill", "seconds")]
    flow_m3_s, head_m = test.flow_m3_s, test.head_m
    if flow_m3_s is None and test.fill_m3 is not None and test.fill_s is not None:
        flow_m3_s = test.fill_m3 / test.fill_s
        if head_m is None and kind is SupplyKind.REGULATOR:
            filling.faults.add(
                at,
                "found a bucket under the open tap, with which a regulator is wide open and sets "
                "nothing; a regulator is tested with a gauge behind it and some of the rows "
                'running, as in { flow = "3 gal/min", pressure = "23 psi" }',
                needs=keys,
            )
        shown = show.show_pressure(0.0, filling.us)
        head_m = filling.default(at, "pressure", head_m, 0.0, shown, "a bucket under the open tap")
        spare = test.flow_m3_s
    else:
        spare = test.fill_m3 if test.fill_m3 is not None else test.fill_s
    if flow_m3_s is None or head_m is None or spare is not None:
        filling.faults.add(
            at,
            "found not quite one test; allowed is a flow and the pressure at the tap "
            'meanwhile, as in { flow = "7.5 gal/min", pressure = "31 psi" }, or a bucket under '
            'the open tap, as in { fill = "5 gal", seconds = 40 }',
            needs=keys,
        )
        filling.faults.spoil(at)
        return 1.0, 0.0
    return flow_m3_s, head_m
