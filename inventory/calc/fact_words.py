"""Facts in words: what a facts column is called on a page, its unit, and its value as a person reads it."""

THIN = "\u2009"

# longest first: `_pf_per_m` ends in `_m`, `_mm2` is no `_mm`
_UNITS = (
    ("_mohm_per_m", "mΩ/m"),
    ("_pf_per_m", "pF/m"),
    ("_mv_per_pa", "mV/Pa"),
    ("_percent", "%"),
    ("_days", "days"),
    ("_mah", "mAh"),
    ("_mhz", "MHz"),
    ("_mm2", "mm²"),
    ("_ohm", "Ω"),
    ("_dbu", "dBu"),
    ("_spl_db", "dB SPL"),
    ("_db", "dB"),
    ("_mm", "mm"),
    ("_ma", "mA"),
    ("_v", "V"),
    ("_a", "A"),
    ("_w", "W"),
    ("_g", "g"),
)

_WORDS = {
    "active": "active",
    "draw_ma": "draws",
    "end_a": "end A",
    "end_b": "end B",
    "turns_ratio": "turns ratio",
    "core_mm2": "core",
    "most_spl_db": "most sound level",
    "least_supply_v": "least supply",
    "least_load_ohm": "least load",
    "most_load_g": "carries at most",
    "most_input_dbu": "most input level",
    "highest_mm": "highest",
    "lowest_mm": "lowest",
    "highest_ohm": "measures up to",
    "lowest_ohm": "measures from",
    "source_ohm": "source impedance",
    "input_ohm": "input impedance",
    "output_ohm": "output impedance",
    "impedance_ohm": "impedance",
    "output_dbu": "output level",
    "pad_db": "pad",
    "second_pad_db": "second pad",
    "mains_a": "mains current",
    "rating_a": "rated",
    "power_w": "power",
    "residual_current_ma": "residual-current device",
    "calibrate_every_days": "calibrate every",
    "keep_at_least": "keep at least",
    "buy_by": "bought in lots of",
    "stock_lengths_mm": "stock lengths",
    "accuracy_percent": "accuracy",
    "phantom": "phantom power",
    "phantom_budget_ma": "phantom budget",
    "transducer": "kind",
    "source": "where the figures are from",
}


def words_of(name: str) -> tuple[str, str]:
    """Return what a facts column is called and its unit (empty for none)."""
    for ending, unit in _UNITS:
        if f"_{name}".endswith(ending):
            bare = name[: len(name) - len(ending.replace("_spl_db", "_db"))] or name
            return _WORDS.get(name, bare.replace("_", " ").strip()), unit
    return _WORDS.get(name, name.replace("_", " ")), ""


def value_in_words(name: str, value: object) -> str:
    """Return a facts value as a person reads it, with its unit; empty where nothing is known."""
    if value is None or value == "" or value == []:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name == "turns_ratio" and isinstance(value, (int, float)):
        return f"{value:g}:1"
    if isinstance(value, list):
        return ", ".join(f"{v / 1000:g}{THIN}m" for v in value if isinstance(v, (int, float)))
    unit = words_of(name)[1]
    if not isinstance(value, (int, float)) or not unit:
        return f"{value:g}" if isinstance(value, float) else str(value)
    if unit == "Ω":
        return ohms(float(value))
    if unit == "g" and value >= 1000:
        return f"{value / 1000:g}{THIN}kg"
    if unit == "mm" and value >= 1000:
        return f"{value / 1000:g}{THIN}m"
    return f"{value:g}{THIN}{unit}"


def ohms(value: float) -> str:
    """Write a resistance as 150 Ω, 50 kΩ or 1 MΩ."""
    for size, prefix in ((1e6, "M"), (1e3, "k")):
        if value >= size:
            return f"{value / size:g}{THIN}{prefix}Ω"
    return f"{value:g}{THIN}Ω"
