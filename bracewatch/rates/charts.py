"""Charts as SVG text, without a library.

A drawing is as wide as the page and has a fixed height in pixels; places across are in per cent and nothing
is scaled, so that text keeps its size on a telephone. How it looks is left to style sheet classes, which also
serve the dark; patterns tell things apart, not colour alone. On a narrow page every third label is shown
(class "few"), on a wide one all of them (class "many").
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from html import escape
from itertools import pairwise

from bracewatch.rates.adherence import Adherence
from bracewatch.rates.attendance import Attendance
from bracewatch.rates.wording import month_in_short, percent

LEFT, RIGHT = 13.0, 92.0  # per cent of the width between which the months stand
WIDEST_COLUMN = 6.0  # per cent
EVERY = 3  # on a narrow page
PLOT_TOP, PLOT_HEIGHT = 48, 110
UNKNOWN_TOP, UNKNOWN_HEIGHT = 206, 36


class Svg(str):
    """A finished drawing: everything in it is escaped, so a page may show it as it is."""

    __slots__ = ()

    def __html__(self) -> str:
        return str(self)


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of a bar chart: what it is of, how long it is, and the figure in words."""

    label: str
    number: int
    words: str


def adherence(name: str, title: str, about: str, months: Sequence[date], rows: Mapping[date, Adherence]) -> Svg:
    """One group's months: a dot for the known mean, a band between its bounds, the unknown share beneath.

    `name` makes its ids unique on the page; `title` and `about` say in words what is seen. A month without
    periods stays empty; one of which nothing is known has a question mark in a band from 0 to 100 %.
    """
    axis = _Axis(tuple(months))
    middles = [_plot_y(row.known_mean) if (row := rows.get(month)) and row.known else None for month in months]
    parts = [_hatch(name), _text(0, 14, "Mean reported", "heading"), *_grid()]
    for place, month in enumerate(months):
        parts += _bounds(axis, place, rows.get(month))
    parts += [
        _line(axis.x(place), here, axis.x(place + 1), there)
        for place, (here, there) in enumerate(pairwise(middles))
        if here is not None and there is not None
    ]
    for place, month in enumerate(months):
        parts += _mean(axis, place, rows.get(month))
    parts.append(_text(0, UNKNOWN_TOP - 22, "Not known", "heading"))
    for place, month in enumerate(months):
        parts += _unknown(name, axis, place, rows.get(month))
    parts += axis.labels(UNKNOWN_TOP + UNKNOWN_HEIGHT)
    return _drawing(name, title, about, UNKNOWN_TOP + UNKNOWN_HEIGHT + 36, parts)


def attendance(name: str, title: str, about: str, months: Sequence[date], rows: Mapping[date, Attendance]) -> Svg:
    """A column a month, from below: kept in time (full), late (hatched), not kept with the window still open
    (dotted), not kept (empty). Above it how many of those due were kept."""
    axis = _Axis(tuple(months))
    most = max((row.due for row in rows.values()), default=0)
    parts = [_hatch(name), _dots(name), _text(0, 14, "Visits kept, of those due", "heading")]
    parts.append(_line(0, PLOT_TOP + PLOT_HEIGHT, 100, PLOT_TOP + PLOT_HEIGHT, "grid"))
    for place, month in enumerate(months):
        row = rows.get(month)
        if row is None or not row.due:
            parts.append(_nothing(axis, place))
            continue
        parts += _column(name, axis, place, row, most)
    parts += axis.labels(PLOT_TOP + PLOT_HEIGHT)
    return _drawing(name, title, about, PLOT_TOP + PLOT_HEIGHT + 36, parts)


def bars(name: str, title: str, about: str, rows: Sequence[Bar]) -> Svg:
    """Lying bars, one below the other, each under its own words; the longest fills the width."""
    most = max((row.number for row in rows), default=0)
    parts = []
    for place, row in enumerate(rows):
        top = place * 44
        parts.append(_text(0, top + 14, f"{row.label}: {row.words}", "heading"))
        parts.append(_rect(0, top + 20, 100, 14, "frame"))
        parts.append(_rect(0, top + 20, 100 * row.number / most if most else 0, 14, "full"))
    return _drawing(name, title, about, len(rows) * 44, parts)


@dataclass(frozen=True, slots=True)
class _Axis:
    """The months side by side."""

    months: tuple[date, ...]

    @property
    def step(self) -> float:
        return (RIGHT - LEFT) / max(len(self.months), 1)

    @property
    def width(self) -> float:
        """The width of what is drawn for a month, in per cent of the drawing."""
        return min(self.step * 0.6, WIDEST_COLUMN)

    def x(self, place: int) -> float:
        """The middle of a month, in per cent."""
        return LEFT + (place + 0.5) * self.step

    def left(self, place: int) -> float:
        return self.x(place) - self.width / 2

    def label_class(self, place: int) -> str:
        return "few" if (len(self.months) - 1 - place) % EVERY == 0 else "many"

    def labels(self, bottom: float) -> list[str]:
        """The months under the plot, with the year under the first and those that are always shown."""
        texts = []
        for place, month in enumerate(self.months):
            shown = self.label_class(place)
            texts.append(_text(self.x(place), bottom + 16, month_in_short(month), shown, middle=True))
            if shown == "few" or place == 0:
                texts.append(_text(self.x(place), bottom + 31, str(month.year), f"{shown} quiet", middle=True))
        return texts


def _plot_y(share: float | None) -> float:
    return PLOT_TOP + PLOT_HEIGHT * (1 - (share or 0.0))


def _grid() -> list[str]:
    parts = []
    for share in (0.0, 0.5, 1.0):
        parts.append(_line(0, _plot_y(share), 100, _plot_y(share), "grid"))
        parts.append(_text(0, _plot_y(share) - 3, percent(share), "quiet"))
    return parts


def _bounds(axis: _Axis, place: int, row: Adherence | None) -> list[str]:
    if row is None:
        return [_nothing(axis, place)]
    top, bottom = _plot_y(row.highest), _plot_y(row.lowest)
    return [_rect(axis.left(place), top, axis.width, bottom - top, "band")]


def _mean(axis: _Axis, place: int, row: Adherence | None) -> list[str]:
    if row is None:
        return []
    x = axis.x(place)
    if row.known_mean is None:
        return [_text(x, _plot_y(0.5) + 4, "?", "heading", middle=True)]
    dot = f'<circle class="mean" cx="{x:.2f}%" cy="{_plot_y(row.known_mean):.1f}" r="4"/>'
    return [dot, _text(x, PLOT_TOP - 18, percent(row.known_mean), axis.label_class(place), middle=True)]


def _unknown(name: str, axis: _Axis, place: int, row: Adherence | None) -> list[str]:
    if row is None:
        return []
    left, bottom = axis.left(place), UNKNOWN_TOP + UNKNOWN_HEIGHT
    height = UNKNOWN_HEIGHT * row.unknown_share
    return [
        _rect(left, bottom - height, axis.width, height, "hatched", fill=f"url(#{name}-hatch)"),
        _rect(left, UNKNOWN_TOP, axis.width, UNKNOWN_HEIGHT, "frame"),
        _text(axis.x(place), UNKNOWN_TOP - 5, percent(row.unknown_share), axis.label_class(place), middle=True),
    ]


def _column(name: str, axis: _Axis, place: int, row: Attendance, most: int) -> list[str]:
    pieces = (
        (row.on_time, "full", ""),
        (row.late, "hatched", f"url(#{name}-hatch)"),
        (row.still_open, "dotted", f"url(#{name}-dots)"),
        (row.not_kept, "frame", ""),
    )
    parts, y = [], float(PLOT_TOP + PLOT_HEIGHT)
    for number, look, fill in pieces:
        height = PLOT_HEIGHT * number / most
        y -= height
        if number:
            parts.append(_rect(axis.left(place), y, axis.width, height, look, fill=fill))
    words = f"{row.kept}/{row.due}"
    parts.append(_text(axis.x(place), y - 5, words, axis.label_class(place), middle=True))
    return parts


def _nothing(axis: _Axis, place: int) -> str:
    return _text(axis.x(place), PLOT_TOP + PLOT_HEIGHT - 4, "\N{EN DASH}", "quiet", middle=True)


def _drawing(name: str, title: str, about: str, height: int, parts: Sequence[str]) -> Svg:
    head = (
        f'<svg class="drawing chart" role="img" aria-labelledby="{name}-title {name}-about" '
        f'width="100%" height="{height}">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-about">{escape(about)}</desc>'
    )
    return Svg("\n".join([head, *parts, "</svg>"]))


def _hatch(name: str) -> str:
    return (
        f'<defs><pattern id="{name}-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect class="stripe" width="2.5" height="6"/></pattern></defs>'
    )


def _dots(name: str) -> str:
    return (
        f'<defs><pattern id="{name}-dots" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<circle class="stripe" cx="3" cy="3" r="1.2"/></pattern></defs>'
    )


def _text(x: float, y: float, words: str, look: str, *, middle: bool = False) -> str:
    anchor = ' text-anchor="middle"' if middle else ""
    return f'<text class="{look}" x="{x:.2f}%" y="{y:.1f}"{anchor}>{escape(words)}</text>'


def _rect(x: float, y: float, width: float, height: float, look: str, *, fill: str = "") -> str:
    filled = f' fill="{fill}"' if fill else ""
    return f'<rect class="{look}" x="{x:.2f}%" y="{y:.1f}" width="{width:.2f}%" height="{height:.1f}"{filled}/>'


def _line(x: float, y: float, to_x: float, to_y: float, look: str = "trend") -> str:
    return f'<line class="{look}" x1="{x:.2f}%" y1="{y:.1f}" x2="{to_x:.2f}%" y2="{to_y:.1f}"/>'
