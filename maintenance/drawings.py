"""The wiring of a thing as a drawing: two plugs or more and what reaches what. Thin is as wired, fat reaches the wrong pin,
dashed with two open rings is open, a fat bar between two pins is a short, a zigzag is too much resistance, dots are unread."""

from collections.abc import Iterable, Mapping, Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from maintenance.calc.wiring_layout import TROUBLE, Across, Beside, Board, End, Link, PlugAt, picture

WIDE = 112  # of a plug
KEY_WORDS = {
    "ok": "as wired",
    "wrong": "reaches the wrong pin",
    "open": "open",
    "short": "short",
    "high": "too much resistance",
    "unread": "belongs together, not measured",
}
_KEYS = {
    "ok": '<path class="w ok" d="M0 7h44"/>',
    "wrong": '<path class="w wrong" d="M0 7h44"/>',
    "open": '<path class="w gone" d="M0 7h12M32 7h12"/><circle class="tip" cx="14" cy="7" r="3.5"/>'
    '<circle class="tip" cx="30" cy="7" r="3.5"/>',
    "short": '<path class="w wrong" d="M8 -2v18"/><circle class="pin" cx="8" cy="-2" r="5"/>'
    '<circle class="pin" cx="8" cy="16" r="5"/>',
    "high": '<path class="w ok" d="M0 7h8l3 -7l6 14l6 -14l6 14l6 -14l3 7h6"/>',
    "unread": '<path class="w unread" d="M0 7h44"/>',
}
_ZIGZAG = "M-30 0h6l4 -11l8 22l8 -22l8 22l8 -22l4 11h14"


def wiring_drawing(
    links: Iterable[Link],
    ends: Sequence[End],
    *,
    roles: Mapping[str, str] | None = None,
    resistors: Mapping[tuple[str, str], str] | None = None,
    sends: int | None = None,
    key: bool = True,
) -> SafeString:
    """Draw a wiring as markup: a board a multicore's troubled channels, one board for all else, the key beneath.

    `links` are the joins with their kinds, `ends` the plugs; `roles` writes what a pin carries beside it, `resistors` names
    what sits between two pins on purpose. The whole is told in words to those who do not see it.
    """
    drawn = picture(ends=ends, links=links, roles=roles, resistors=resistors, sends=sends)
    kinds = [kind for kind in KEY_WORDS if any(kind in board.kinds for board in drawn.boards)]
    boards = format_html_join("", "{}", ((_board(board),) for board in drawn.boards))
    folded = format_html('<p class="folded">{}</p>', drawn.folded) if drawn.folded else ""
    return format_html(
        "{}{}{}", boards, folded, _key(kinds) if key and kinds not in ([], ["ok"], ["unread"]) else mark_safe("")
    )


def _key(kinds: Sequence[str]) -> SafeString:
    rows = ((mark_safe(_KEYS[kind]), KEY_WORDS[kind]) for kind in kinds)
    items = format_html_join("", '<li><svg width="44" height="14" aria-hidden="true">{}</svg>{}</li>', rows)
    return format_html('<ul class="key">{}</ul>', items)


def _board(board: Board) -> SafeString:
    title = format_html('<p class="board-title marker">{}</p>', board.title) if board.title else ""
    left = [plug for plug in board.plugs if not plug.right]
    right = [plug for plug in board.plugs if plug.right]
    busy = sum(wire.kind in TROUBLE for wire in board.across) > 4
    css = f"wiring{' close' if board.close else ''}{' busy' if busy else ''}{'' if right else ' one-ended'}"
    return format_html(
        '{}<div class="{}" role="img" aria-label="{}">{}<div class="between">{}{}</div>{}</div>',
        title,
        css,
        board.told,
        _plugs(left, board.height),
        _wires(board),
        _notes(board),
        _plugs(right, board.height) if right else "",
    )


def _plugs(plugs: Sequence[PlugAt], height: float) -> SafeString:
    drawn = format_html_join("", "{}", ((_plug(plug),) for plug in plugs))
    return format_html('<svg class="plug" width="{}" height="{}" aria-hidden="true">{}</svg>', WIDE, _n(height), drawn)


def _plug(plug: PlugAt) -> SafeString:
    top, foot, middle = plug.top + 2, plug.top + plug.height - 2, plug.top + plug.height / 2
    if plug.right:
        body = f"M110 {_n(top)}H42L12 {_n(top + 28)}V{_n(foot - 28)}L42 {_n(foot)}H110z"
        ribs = f"M96 {_n(top)}V{_n(foot)}M90 {_n(top)}V{_n(foot)}M84 {_n(top)}V{_n(foot)}"
        flag = format_html('<rect x="67" y="{}" width="46" height="46"/>', _n(middle - 23))
        pin_x, label_x, anchor, flag_x = 12, 30, "start", 90
    else:
        body = f"M2 {_n(top)}H70L100 {_n(top + 28)}V{_n(foot - 28)}L70 {_n(foot)}H2z"
        ribs = f"M16 {_n(top)}V{_n(foot)}M22 {_n(top)}V{_n(foot)}M28 {_n(top)}V{_n(foot)}"
        flag = format_html('<circle cx="22" cy="{}" r="25"/>', _n(middle))
        pin_x, label_x, anchor, flag_x = 100, 82, "end", 22
    pins = format_html_join(
        "",
        '<circle class="pin" cx="{}" cy="{}" r="{}"/><text x="{}" y="{}" text-anchor="{}">{}</text>',
        ((pin_x, _n(pin.y), 7 if len(plug.pins) > 12 else 10, label_x, _n(pin.y + 5), anchor, pin.label) for pin in plug.pins),
    )
    return format_html(
        '<g class="flag"><path class="body" d="{}"/><path class="key" d="{}"/>{}'
        '<text class="end{}" x="{}" y="{}" text-anchor="middle">{}</text>{}</g>',
        body,
        ribs,
        flag,
        "" if len(plug.name) < 2 else " long",
        flag_x,
        _n(middle + (12 if len(plug.name) < 2 else 9)),
        plug.name,
        pins,
    )


def _wires(board: Board) -> SafeString:
    """The wires themselves, stretched to whatever room there is between the plugs."""
    drawn = []
    for wire in board.across:
        curve = _curve(wire, 0, 100)
        if wire.kind == "open":
            reach = 26 if wire.left == wire.right else 18
            near, far = f"M0 {_n(wire.left)}H{reach}", f"M{100 - reach} {_n(wire.right)}H100"
            stub = {"left": near, "right": far}.get(wire.stub, near + far)
            drawn.append(f'<path class="w gone" d="{stub}"/>')
        elif wire.kind in TROUBLE - {"high"}:
            drawn += [f'<path class="w halo" d="{_curve(wire, 6, 94)}"/>', f'<path class="w wrong" d="{curve}"/>']
        else:
            drawn.append(f'<path class="w {"unread" if wire.kind == "unread" else "ok"}" d="{curve}"/>')
    return format_html(
        '<svg class="wires" width="100%" height="{0}" viewBox="0 0 100 {0}" preserveAspectRatio="none" aria-hidden="true">'
        "{1}</svg>",
        _n(board.height),
        mark_safe("".join(drawn)),
    )


def _curve(wire: Across, start: int, end: int) -> str:
    if wire.left == wire.right:
        return f"M{start} {_n(wire.left)}H{end}"
    return f"M{start} {_n(wire.left)}C38 {_n(wire.left)} 62 {_n(wire.right)} {end} {_n(wire.right)}"


def _notes(board: Board) -> SafeString:
    """What must not be stretched: rings, zigzags, brackets, words."""
    shapes = [part for wire in board.across for part in _marks(wire, board)]
    shapes += [_bracket(join, board) for join in board.beside]
    if board.roles and not board.close and not any(kind in TROUBLE for kind in board.kinds):
        pins = {pin.key: pin.y for plug in board.plugs if not plug.right for pin in plug.pins}
        shapes += [
            format_html('<text class="role" x="20" y="{}">{}</text>', _n(y - 9), board.roles[key])
            for key, y in pins.items()
            if board.roles.get(key)
        ]
    return format_html(
        '<svg class="notes" width="100%" height="{}" aria-hidden="true">{}</svg>',
        _n(board.height),
        format_html_join("", "{}", ((shape,) for shape in shapes)),
    )


def _marks(wire: Across, board: Board) -> list[SafeString]:
    middle = (wire.left + wire.right) / 2
    at_middle = '<svg x="50%" y="{}" overflow="visible">{}</svg>'
    marks: list[SafeString] = []
    if wire.kind == "open":
        straight = wire.left == wire.right
        near, far = ("26%", "74%") if straight else ("18%", "82%")
        for side, x, y in (("left", near, wire.left), ("right", far, wire.right)):
            if wire.stub not in {"", side}:
                continue
            marks.append(format_html('<circle class="tip" cx="{}" cy="{}" r="{}"/>', x, _n(y), 5 if board.close else 7))
        if wire.note and not board.close:
            x, anchor = ("50%", "middle") if straight else ("24%", "start")
            marks.append(_words(wire.note, x, wire.left + 7, anchor))
        return marks
    if wire.kind == "high":
        zigzag = mark_safe(f'<rect class="gap" x="-28" y="-14" width="56" height="28"/><path class="w ok" d="{_ZIGZAG}"/>')
        marks.append(format_html(at_middle, _n(middle), zigzag))
    elif wire.resistor:
        box = mark_safe('<rect class="tip" x="-26" y="-9" width="52" height="18"/>')
        marks.append(format_html(at_middle, _n(middle), box))
    words = wire.resistor if wire.resistor and wire.kind != "high" else wire.note
    if words and (wire.resistor or not board.close):
        marks.append(_words(words, "50%", wire.note_at + 7, "middle"))
    return marks


def _words(words: str, x: str, y: float, anchor: str) -> SafeString:
    return format_html('<text class="note" x="{}" y="{}" text-anchor="{}">{}</text>', x, _n(y), anchor, words)


def _bracket(join: Beside, board: Board) -> SafeString:
    out = 30 * join.depth * (-1 if join.right else 1)
    middle = (join.top + join.foot) / 2
    line = f"M0 {_n(join.top)}H{out}V{_n(join.foot)}H0"
    css = {"short": "wrong", "wrong": "wrong", "open": "gone", "unread": "unread"}.get(join.kind, "ok")
    shapes = [f'<path class="w {css}" d="{line}"/>']
    if css == "wrong":
        shapes.insert(0, f'<path class="w halo" d="{line}"/>')
    if join.kind == "open":
        shapes = [
            f'<path class="w gone" d="M0 {_n(join.top)}H{out}V{_n(middle - 12)}M0 {_n(join.foot)}H{out}V{_n(middle + 12)}"/>',
            f'<circle class="tip" cx="{out}" cy="{_n(middle - 12)}" r="6"/>',
            f'<circle class="tip" cx="{out}" cy="{_n(middle + 12)}" r="6"/>',
        ]
    if join.resistor and join.kind in {"ok", "unread", "high"}:
        shapes.append(f'<rect class="tip" x="{out - 9}" y="{_n(middle - 26)}" width="18" height="52"/>')
    elif join.kind == "high":
        shapes.append(f'<g transform="translate({out} {_n(middle)}) rotate(90)"><rect class="gap" x="-28" y="-14" width="56" '
                      f'height="28"/><path class="w ok" d="{_ZIGZAG}"/></g>')  # fmt: skip
    words = join.resistor or join.note
    said: SafeString | str = ""
    if words and not (board.close and not join.resistor):
        x = out + (-18 if join.right else 18)
        said = format_html(
            '<text class="note" x="{}" y="{}" text-anchor="{}">{}</text>',
            x,
            _n(middle + 7),
            "end" if join.right else "start",
            words,
        )
    body = format_html("{}{}", mark_safe("".join(shapes)), said)
    return format_html('<svg x="{}" y="0" overflow="visible">{}</svg>', "100%" if join.right else "0", body)


def _n(number: float) -> str:
    return f"{number:g}"
