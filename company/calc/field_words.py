"""What the change log calls a column, and its value with the unit a person says it in."""

THIN = "\u2009"
SHARE = "share"  # kept as 0.05, said as 5 %
MONEY = "money"  # kept in cents

# longest first: `_pf_per_m` ends in `_m`, `_mm2` is no `_mm`
_UNITS = (
    ("_mohm_per_m", "mΩ/m"),
    ("_pf_per_m", "pF/m"),
    ("_mv_per_pa", "mV/Pa"),
    ("_percent", "%"),
    ("_cents", MONEY),
    ("_share", SHARE),
    ("_weeks", "weeks"),
    ("_days", "days"),
    ("_mohm", "MΩ"),
    ("_mah", "mAh"),
    ("_mhz", "MHz"),
    ("_mm2", "mm²"),
    ("_ohm", "Ω"),
    ("_dbu", "dBu"),
    ("_spl_db", "dB SPL"),
    ("_db", "dB"),
    ("_mm", "mm"),
    ("_ms", "ms"),
    ("_ma", "mA"),
    ("_hz", "Hz"),
    ("_h", "h"),
    ("_v", "V"),
    ("_a", "A"),
    ("_w", "W"),
    ("_g", "g"),
)

# (column, or model and column): what it is called, and its unit where the name does not tell it
_WORDS: dict[str, tuple[str, str | None]] = {
    # the limits of the bench, as their form asks for them
    "measures": ("what the instruments measure", None),
    "asked_at": ("when that was said", None),
    "core_factor": ("copper may read, times its figure", "×"),
    "contact_ohm": ("each contact may add", None),
    "guard_ohm": ("added for safety", None),
    "watch_extra_ohm": ("a core fails so far over its copper", None),
    "open_ohm": ("open above", None),
    "short_ohm": ("shorted below", None),
    "leak_ohm": ("leaks below", None),
    "legs_factor": ("two legs may differ by", SHARE),
    "legs_ohm": ("two legs may differ by, at least", None),
    "loudspeaker_leg_ohm": ("each loudspeaker leg over its copper", None),
    "loudspeaker_loss_db": ("loss into the load", None),
    "golden_share": ("a winding may drift by", None),
    "gain_db": ("gain may be off by", None),
    "level_db": ("levels may differ by", None),
    "phantom_match_share": ("phantom legs may differ by", None),
    "insulation_ohm": ("insulation bad below", None),
    "insulation_good_ohm": ("insulation good from", None),
    "earth_ohm": ("protective earth at most", None),
    "mains_insulation_mohm": ("mains insulation at least", None),
    "leakage_ma": ("leakage at most", None),
    "residual_trip_ms": ("residual-current device trips within", None),
    "sees_lamps": ("faults a test by lamps finds", SHARE),
    "sees_lamps_flexed": ("faults a test by lamps finds, flexed", SHARE),
    "sees_ohms": ("faults a test in ohms finds", SHARE),
    "sees_ohms_flexed": ("faults a test in ohms finds, flexed", SHARE),
    "sees_show": ("faults an uneventful show finds", SHARE),
    # when to test again
    "target": ("one may be bad with a chance of at most", SHARE),
    "least_days": ("not sooner than", "days"),
    "most_days": ("not later than", "days"),
    "least_shows": ("not before", "shows"),
    "most_shows": ("not after more than", "shows"),
    "after_repair": ("test again after a repair", None),
    "after_wet": ("test again after it got wet", None),
    "after_symptom": ("test again after somebody said something is wrong", None),
    "median_shows": ("half of them last", "shows"),
    "pessimistic_shows": ("the worst 1 in 20 last", "shows"),
    "storage_shows_a_month": ("a month on the shelf wears like", "shows"),
    "minutes_a_test": ("one test takes", "minutes"),
    "line_check_cents": ("one found bad at line check costs", None),
    "show_cents": ("one failing in the show costs", None),
    # wirings
    "nets": ("what is joined", None),
    "per_channel": ("the same for each channel", None),
    "shipped": ("came with the program", None),
    # cells
    "draw": ("draws", None),
    "sigma": ("doubt of what it draws", None),
    "stops_below_v": ("stops below", None),
    "sounds_poor_below_v": ("sounds poor below", None),
    "standby_ma": ("draws when off", None),
    "cells_a_bay": ("cells in a bay", None),
    "stored_weeks": ("stored at most", None),
    "full_charge_h": ("a full charge takes", None),
    "nominal_v": ("named voltage", None),
    "fresh_most_v": ("fresh, at most", None),
    "r_fresh_ohm": ("inner resistance, fresh", None),
    "r_empty_ohm": ("inner resistance, empty", None),
    "end_v": ("empty at", None),
    "loss_per_year": ("loses a year on the shelf", SHARE),
    "sigma_v": ("doubt of a reading", None),
    "floor_v": ("never below", None),
    "valid_to_ma": ("figures hold up to", None),
    # gear
    "mass_g": ("mass", None),
    "price_cents": ("price", None),
    "replacement_cents": ("replacing it costs", None),
    "keep_at_least": ("keep at least", None),
    "counted_at_first": ("counted, not labelled, at first", None),
    "has_standing": ("can be good or bad", None),
    "label_diameter_mm": ("label goes round", None),
    "excepts": ("dead channels", None),
    "tested_on": ("last tested", None),
    "taken_as_good_on": ("taken as good", None),
    "core_mm2": ("core", None),
    "core_awg": ("core, wire gauge number", None),
    "screen_mohm_per_m": ("screen", None),
    "source_ohm": ("source impedance", None),
    "input_ohm": ("input impedance", None),
    "output_ohm": ("output impedance", None),
    "impedance_ohm": ("impedance", None),
    "mains_a": ("mains current", None),
    "rating_a": ("rated", None),
    "power_w": ("power", None),
    "calibrate_every_days": ("calibrate every", None),
    "stock_lengths_mm": ("stock lengths", ""),
    # shows
    "origin": ("came from", None),
    "critical": ("how much hangs on it", None),
    "stage_to_mix_mm": ("stage to mix position", None),
    # the company
    "mains_hz": ("mains", None),
    "phantom_first": ("phantom power comes first", None),
    "bench_minutes_a_month": ("time for the bench a month", "minutes"),
    "cell_show_limit": ("cells serve at most", "shows"),
    "unbalanced_limit_mm": ("longest unbalanced lead", None),
    "is_demo": ("is the demo", None),
    "is_active": ("may sign in", None),
}

# (column, stored choice): said so where the choice's own word does not say it alone
CHOICES = {
    ("origin", "hand"): "written by hand",
    ("origin", "rig"): "a rig",
    ("origin", "goes with"): "what goes with another thing",
    ("origin", "swapped"): "a swap",
    ("origin", "import"): "an imported list",
}


def field_words(name: str) -> tuple[str, str]:
    """Return what a column is called and its unit: a unit, `SHARE`, `MONEY`, or empty for none."""
    called, unit = _WORDS.get(name, ("", None))
    for ending, found in _UNITS:
        if unit is None and name.endswith(ending) and name != ending.lstrip("_"):
            bare = name.removesuffix("_db" if ending == "_spl_db" else ending)
            return called or bare.replace("_", " "), found
    return called or name.replace("_", " "), unit or ""


def figure_in_words(value: float, unit: str, currency: str = "") -> str:
    """Write a stored number with the unit a person says: 12.50 EUR, 1.66 %, 10 MΩ, 6 m, 0.3 Ω."""
    if unit == MONEY:
        return f"{round(value) // 100}.{round(value) % 100:02d} {currency}".rstrip()
    if unit == SHARE:
        return f"{100 * value:.3g}\u202f%"
    if unit == "×":
        return f"{value:g} times"
    if unit in {"days", "shows", "minutes", "weeks"}:
        return f"{value:g} {unit.removesuffix('s') if value == 1 else unit}"
    for size, small, large in ((1e6, "Ω", "MΩ"), (1e3, "Ω", "kΩ"), (1e3, "mm", "m"), (1e3, "g", "kg")):
        if unit == small and abs(value) >= size:
            return f"{value / size:g}{THIN}{large}"
    return f"{value:g}{THIN}{unit}" if unit else f"{value:g}"
