"""Sentences of plants: what was seen of them, their stages, soil that is too cold for seed."""

SENTENCES: dict[str, str] = {
    "seen.left_aside": '"{event}" noted for {day} does not count: {fault}',
    "seen.maybe_harvest": 'it may have been a harvest; if the plants are gone, note "gone"',
    "seen.no_such_event": "no planting can show that",
    "seen.not_standing": "the planting is in the ground from {start} to {last}",
    "seen.set_out": "this was set out as plants, not sown",
    "seen.already": '"{event}" was noted for {day} already',
    "seen.nothing_stands": "nothing grows there on that day",
    "seen.no_crop_stands": "no {crop} grows there on that day",
    "course.not_seen_up": (
        "nobody has noted it as up in {days} days, so it is no longer kept moist as a seedbed. "
        'Look, and note "up" if it is'
    ),
    "course.ripens": (
        '{why}, but nobody has noted that its tops have fallen or dried. Look, and note "tops '
        'fallen" when they have: until then it is still watered'
    ),
    "course.yellow": "yellow leaves were noted",
    "course.ripe_by_course": "by its stages it ripens about now",
    "stages.no_base": "its stages go by days: no base temperature is known for it",
    "stages.no_normals": (
        "its stages go by days: neither its stages_warmth nor the garden's normal temperatures are "
        "known"
    ),
    "stages.by_days": (
        "its {stages: and } {count:stage goes|stages go} by days: an ordinary day there has less "
        "than {least:g} degree day over {base:g} °C, or is not known"
    ),
    "soil.too_cold": (
        "soil at seed depth has about {found} by the air, and it needs {least} or more"
    ),
    "soil.seed_may_rot": (
        "too cold, its seed may rot: {soil}. It comes up about {up}, if at all. Sow it later "
        'or again, and note "up" when you see it'
    ),
}
