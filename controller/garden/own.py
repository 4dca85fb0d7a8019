"""Crops and soils of the gardener's own: bare numbers, in the unit that each key names."""

from __future__ import annotations

from typing import Annotated, Any

from controller.garden import values as v
from controller.garden.form import Table, by
from controller.garden.model import OwnCrop, OwnSoil

Name = Annotated[str, by(v.text("a name", "leeks"))]
Days = Annotated[float, by(v.whole("a stage", 1, 400))]


def _bare(what: str, example: str, low: float, high: float) -> Any:
    return by(v.number(what, example, low, high))


class WrittenCrop(Table):
    name: Name
    like: Name | None = None
    kc_ini: Annotated[float, _bare("kc_ini", "0.6", 0, 2)] | None = None
    kc_mid: Annotated[float, _bare("kc_mid", "1.15", 0, 2)] | None = None
    kc_end: Annotated[float, _bare("kc_end", "0.8", 0, 2)] | None = None
    kcb_ini: Annotated[float, _bare("kcb_ini", "0.15", 0, 2)] | None = None
    kcb_mid: Annotated[float, _bare("kcb_mid", "1.1", 0, 2)] | None = None
    kcb_end: Annotated[float, _bare("kcb_end", "0.7", 0, 2)] | None = None
    height_m: Annotated[float, _bare("height_m (metres)", "0.6", 0.01, 20)] | None = None
    root_min_m: Annotated[float, _bare("root_min_m (metres)", "0.3", 0.02, 5)] | None = None
    root_max_m: Annotated[float, _bare("root_max_m (metres)", "0.6", 0.02, 5)] | None = None
    depletion_fraction: Annotated[float, _bare("depletion_fraction", "0.4", 0.05, 0.95)] | None = (
        None
    )
    in_row_spacing_m: (
        Annotated[float, _bare("in_row_spacing_m (metres)", "0.3", 0.005, 10)] | None
    ) = None
    gdd_base_c: Annotated[float, _bare("gdd_base_c (degrees C)", "5", -5, 30)] | None = None
    salinity_threshold_ds_m: (
        Annotated[float, _bare("salinity_threshold_ds_m (dS/m)", "1.2", 0, 30)] | None
    ) = None
    salinity_slope_pct: (
        Annotated[float, _bare("salinity_slope_pct (% per dS/m)", "16", 0, 100)] | None
    ) = None
    days_initial: Days | None = None
    days_development: Days | None = None
    days_mid: Days | None = None
    days_late: Days | None = None


class WrittenSoil(Table):
    name: Name
    like: Name | None = None
    field_capacity: Annotated[float, _bare("field_capacity", "0.25", 0.01, 0.9)] | None = None
    wilting_point: Annotated[float, _bare("wilting_point", "0.12", 0.0, 0.8)] | None = None
    rew_mm: Annotated[float, _bare("rew_mm (millimetres)", "9", 0, 50)] | None = None
    intake_mm_h: Annotated[float, _bare("intake_mm_h (mm per hour)", "13", 0.1, 1000)] | None = None
    wetted_width_m: Annotated[float, _bare("wetted_width_m (metres)", "0.4", 0.02, 5)] | None = None


def own_crop(written: WrittenCrop) -> OwnCrop:
    """The crop of the model; what is not written stays the table's."""
    changes = written.model_dump(exclude={"name", "like"}, exclude_none=True)
    return OwnCrop(name=written.name, like=written.like, changes=changes)


def own_soil(written: WrittenSoil) -> OwnSoil:
    """The soil of the model; what is not written stays the table's."""
    changes = written.model_dump(exclude={"name", "like"}, exclude_none=True)
    return OwnSoil(name=written.name, like=written.like, changes=changes)
