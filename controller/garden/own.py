"""Crops and soils of the gardener's own: bare numbers, in the unit that each key names.

The limits are those that `crops.entry` sets for the tables, said here with line and key; a test
holds the two together.
"""

from __future__ import annotations

from typing import Annotated, Any

from controller.garden import values as v
from controller.garden.form import Table, by
from controller.garden.model import OwnCrop, OwnSoil

Name = Annotated[str, by(v.text("a name", "leeks"))]
Days = Annotated[float, by(v.whole("a stage", 0, 400))]


def _bare(what: str, example: str, low: float, high: float) -> Any:
    return by(v.number(what, example, low, high))


Kc = Annotated[float, _bare("a crop coefficient", "1.05", 0, 2)]
Height = Annotated[float, _bare("a height in metres", "0.6", 0.01, 12)]
Root = Annotated[float, _bare("a depth in metres", "0.3", 0.05, 5)]


class WrittenCrop(Table):
    name: Name
    like: Name | None = None
    kc_ini: Kc | None = None
    kc_mid: Kc | None = None
    kc_end: Kc | None = None
    kcb_ini: Kc | None = None
    kcb_mid: Kc | None = None
    kcb_end: Kc | None = None
    kc_mid_supported: Kc | None = None
    kcb_mid_supported: Kc | None = None
    height_m: Height | None = None
    height_supported_m: Height | None = None
    root_min_m: Root | None = None
    root_max_m: Root | None = None
    depletion_fraction: Annotated[float, _bare("depletion_fraction", "0.4", 0.1, 0.8)] | None = None
    in_row_spacing_m: Annotated[float, _bare("a spacing in metres", "0.3", 0.005, 10)] | None = None
    spread_m: Annotated[float, _bare("a spread in metres", "0.5", 0.02, 10)] | None = None
    gdd_base_c: Annotated[float, _bare("a temperature in degrees C", "5", -5, 30)] | None = None
    gdd_upper_c: Annotated[float, _bare("a temperature in degrees C", "30", 10, 50)] | None = None
    salinity_threshold_ds_m: Annotated[float, _bare("a threshold in dS/m", "1.2", 0, 30)] | None = (
        None
    )
    salinity_slope_pct: Annotated[float, _bare("a loss in % per dS/m", "16", 0, 100)] | None = None
    days_initial: Days | None = None
    days_development: Days | None = None
    days_mid: Days | None = None
    days_late: Days | None = None


class WrittenSoil(Table):
    name: Name
    like: Name | None = None
    field_capacity: Annotated[float, _bare("field_capacity", "0.25", 0.02, 0.7)] | None = None
    wilting_point: Annotated[float, _bare("wilting_point", "0.12", 0.005, 0.5)] | None = None
    rew_mm: Annotated[float, _bare("a depth in millimetres", "9", 0.5, 20)] | None = None
    intake_mm_h: Annotated[float, _bare("an intake in mm per hour", "13", 0.1, 500)] | None = None
    wetted_width_m: Annotated[float, _bare("a width in metres", "0.4", 0.05, 2)] | None = None
    curve_number: Annotated[float, _bare("a curve number", "75", 30, 98)] | None = None


def own_crop(written: WrittenCrop) -> OwnCrop:
    """The crop of the model; what is not written stays the table's."""
    changes = written.model_dump(exclude={"name", "like"}, exclude_none=True)
    return OwnCrop(name=written.name, like=written.like, changes=changes)


def own_soil(written: WrittenSoil) -> OwnSoil:
    """The soil of the model; what is not written stays the table's."""
    changes = written.model_dump(exclude={"name", "like"}, exclude_none=True)
    return OwnSoil(name=written.name, like=written.like, changes=changes)
