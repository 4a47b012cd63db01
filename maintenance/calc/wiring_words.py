"""Words of a wiring's verdict: ohms, pins and lists as a bench says them."""

from collections.abc import Iterable

from maintenance.calc.wiring_nets import Net, Role, pin_words

THIN = "\u2009"
ROLE_WORDS = {
    Role.HOT: "hot leg",
    Role.COLD: "cold leg",
    Role.SCREEN: "screen",
    Role.COMMON: "common",
    Role.CORE: "core",
    Role.SEND: "send",
    Role.RETURN: "return",
    Role.LEFT: "left",
    Role.RIGHT: "right",
    Role.PLUS: "plus",
    Role.MINUS: "minus",
    Role.DATA_PLUS: "data +",
    Role.DATA_MINUS: "data -",
}


def ohms_words(ohm: float) -> str:
    """Write ohms as a meter does: 0 Ω, 0.04 Ω, 1.17 Ω, 4.2 kΩ, 1.2 MΩ."""
    if ohm < 0.00995:
        return f"{ohm:.3f}".rstrip("0").rstrip(".") + f"{THIN}Ω"
    for top, scale, unit in ((999.5, 1.0, "Ω"), (999_500.0, 1e-3, "kΩ"), (9.995e8, 1e-6, "MΩ")):
        if ohm < top:
            return f"{_three(ohm * scale)}{THIN}{unit}"
    return f"{_three(ohm * 1e-9)}{THIN}GΩ"


def _three(value: float) -> str:
    if value >= 100:
        return f"{value:.0f}"
    return f"{value:.2f}" if value < 10 else f"{value:.1f}"


def listed(words: Iterable[str], last: str = "and") -> str:
    """Join words as a sentence does: 1, 2 and 3."""
    parts = list(words)
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} {last} {parts[-1]}" if parts else ""


def pins_words(pins: Iterable[str], last: str = "and") -> str:
    return listed([pin_words(p) for p in pins], last)


def net_words(net: Net) -> str:
    """Return a net for a sentence: core 2 (hot leg), the screen, ch 14 core 3 (cold leg), pin A4."""
    if len(net.pins) == 1:
        return f"pin {pin_words(net.pins[0])}"
    if net.is_screen or net.role is Role.CORE:
        return net.name
    return f"{net.name} ({ROLE_WORDS[net.role]})"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
