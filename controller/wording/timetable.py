"""Sentences of plans: why a dose is due or not given, zones without water, ends of plantings."""

SENTENCES: dict[str, str] = {
    # A remark of a plan, with the zone or planting that it is about.
    "plan.of_zone": "{zone}: {remark}",
    "plan.of_planting": "{crop} from {start}: {remark}",
    "plan.flow_is_a_guess": 'zone "{zone}": {doubt}',
    "plan.throttle_for_time": (
        'zone "{zone}": its water passes in {takes}, too short to time by hand, and a hand '
        "valve is opened for whole minutes. Throttle it to about {flow} with only this zone "
        "open, and write that as its opening in the garden file: then it takes {then}"
    ),
    "plan.throttle_for_soil": (
        'zone "{zone}": the soil can take in at once only what passes in '
        "{takes}, and a hand valve is opened for whole minutes: the rest stays "
        "on the bed. Throttle it to about {flow} with only this zone open, and "
        "write that as its opening in the garden file: then its dose takes "
        "{then}"
    ),
    "plan.throttle_all_for_time": (
        "the water of these zones passes in less than a minute, too short to time by hand, and a "
        "hand valve is opened for whole minutes. Throttle each with only that zone open, and write "
        "the flow as its opening in the garden file"
    ),
    "plan.throttle_all_for_soil": (
        "the soil of these zones can take in at once only what passes in less than a minute, and a "
        "hand valve is opened for whole minutes: the rest stays on the bed. Throttle each with "
        "only that zone open, and write the flow as its opening in the garden file"
    ),
    "plan.throttle_one": "{zone}: to about {flow}; it then takes {then}",
    # Why a dose is due, and what changes it.
    "need.share_used_up": "the allowed share is used up",
    "need.runs_short": "it would run short before the next chance",
    "need.runs_short_rain_unknown": (
        "it would run short before the next chance, and rain is unknown"
    ),
    "need.brought_forward": "it would run short before the next round",
    "need.dries_down": "it dries down",
    "need.settles_in": "it is settling in",
    "need.settles_in_days": "it is settling in, {days} more days",
    "need.seedbed": "the top is kept moist until seedlings show",
    "need.seedbed_and_below": (
        "the top is kept moist until seedlings show, and the ground below it"
    ),
    "need.less_for_rain": "less {depth} for rain that is likely",
    "need.washes_out_salt": "with {depth} to wash out salt",
    "need.for_mean": "for the mean of its rows",
    "need.for_part": "for {part}",
    "need.bare_part_gets": "{part}, where nothing grows, {rows:gets|get} {depth}",
    "need.drying_part_gets": "{part}, drying down, {rows:gets|get} {depth}",
    "need.part_gets_less": ("{part} {rows:gets|get} {depth} less than {rows:it lacks|they lack}"),
    "need.part_gets_more": ("{part} {rows:gets|get} {depth} more than {rows:it lacks|they lack}"),
    "need.opening_unknown": "its opening is unknown, its flow a guess",
    # Why water is not given.
    "left.no_window": "no window on this day",
    "left.windows_closed": "the windows closed first",
    "left.over_cap": "the zone's daily cap is reached",
    "left.held": "held: {reason}",
    "left.frost": "frost is forecast",
    "left.no_reason": "no reason given",
    "left.no_supply": "the supply does not reach this zone",
    "left.stays_open": "even alone, {doubt}",
    "left.open_too_short": "its valve may be open {longest} at most, and {pulse}",
    "left.window_too_short": "no window of the day is long enough: {pulse}",
    "left.smallest_pulse": (
        "its smallest pulse is {smallest}, {fill} to fill its line and {water} to water"
    ),
    "left.smallest_pulse_slow_valve": (
        "its smallest pulse is {smallest}, {fill} to fill its line and {water} to water beside its "
        "valve's travel"
    ),
    "left.too_little": (
        "it would take less than {seconds:g} s{after}; it waits until more is missing"
    ),
    "left.after_filling": " after filling its line for {fill}",
    "left.under_half_a_minute": (
        "it would take less than half a minute, and a hand valve is "
        "opened for whole minutes; it waits until more is missing"
    ),
    "left.hand_visits": (
        "the round ends before its soil can take more; the rest comes in a later round "
        "(hand_visits = {visits})"
    ),
    "left.hand_turns": (
        "the turns of the round are used up; the rest comes in a later round (hand_turns = {turns})"
    ),
    "left.plugged": "all its rows are plugged",
    # Why a zone gets no water in the planned days.
    "dry.not_given": "on {day}: {reason}",
    "dry.no_planting": "the garden file has no planting for it",
    "dry.begins": "{crop} begins on {day}",
    "dry.then": "; {begins}",
    "dry.gone": (
        "{crop} is noted as gone on {day}; if it still grows, take the note back (rowgate note "
        "withdraw){then}"
    ),
    "dry.between": "{crop} ended on {day}{then}",
    "dry.over": "{crop} ended on {day}; if it still grows, write a later until in the garden file",
    "dry.taper": (
        "{crop} dries down since {since}: it is left to dry in the last half of its late stage"
    ),
    "dry.tops_fallen": (
        "{crop} dries down since {since}: its tops were seen to have fallen or dried; lift it by "
        "{by}"
    ),
    "dry.has_enough": "{crop} has enough: {gone}",
    "dry.first_day": "set out or sown that day, it is watered in by hand",
    "dry.depletion": "{depth} is missing",
    "dry.below_allowed": "{depth} is missing, and it is watered from {allowed}",
    "dry.covered": (
        "{depth} is missing, and it is watered from {allowed}; rain that is likely, or water "
        "that it got that day, covers it"
    ),
    "dry.waits_for_round": (
        "{depth} is missing, and it is watered from {allowed}; the crop does not feel it yet, "
        "and its keeper's next round is early enough"
    ),
    # Plantings that end.
    "end.sown_cold": (
        "{planting}: it is to be sown in {days} days, and by then {soil}. Sow it later, or "
        "under a film or a row cover"
    ),
    "end.over": (
        "{planting}: its last day was {day}, so it gets no more water. If it still grows, "
        "write a later until in the garden file"
    ),
    "end.soon": (
        "{planting}: its last day is {day}, and it gets no water after that. If it is to grow "
        "longer, write a later until in the garden file"
    ),
    "end.dries": (
        "{planting}: {begins} it gets no more water, so that it dries where it grows. If it is "
        "still green or picked fresh, write longer stages, or harvest_in, in the garden file"
    ),
    "end.dries_now": "its late stage is half over, so",
    "end.dries_from": "from {day} on",
    "end.past": (
        "{planting}: it is {past:.0f} days past the last of its stages ({days} days) and is "
        'watered as at its end. If it is gone, note "lifted". If it still grows, write '
        "harvest_in (the days on the seed packet) or longer stages in the garden file"
    ),
    # What nobody wrote down.
    "record.rule": "water that nobody wrote down{whose} {rule}{silent}",
    "record.whose": " ({zones:, })",
    "record.daemon": "does not count: the daemon's own record counts",
    "record.daemon_since": (
        "does not count: the daemon's own record counts; before {day} it counts as printed"
    ),
    "record.as_printed": "counts as printed on the sheet, unless a note has something else",
    "record.as_confirmed": "does not count (as confirmed); before {day} it counts as printed",
    "record.silent": (
        ". Nobody wrote any down for {days} days, since {since}: if water was given, note it"
    ),
    "record.gap_day": "no daemon ran {day}: those days are counted by the same rules",
    "record.gap": "no daemon ran from {first} to {last}: those days are counted by the same rules",
    # Windows.
    "windows.clock_change": (
        "the clocks change in the window {opens} to {closes} of {day}: it is {lasts} long, not "
        "{usual}"
    ),
}
