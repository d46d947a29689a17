"""Charts as values: horizontal bars on one axis, laid out in whole units so that a template only has to draw them.

Bars lie horizontally because their names then stay readable on a phone. A kind of bar differs from the others in its
pattern and in a word, not in colour alone. Amounts are minor units; a chart always has the table of its figures behind it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

#: Units of the drawing: width in all, room for the names at the left and for the figures at the right.
WIDTH, NAMES, FIGURES = 640, 170, 90
ROW, BAR, TOP, AXIS = 26, 16, 8, 46
_TICKS_AT_MOST = 5
#: The most letters of a name that fit beside a bar.
_NAME_LETTERS = 24


@dataclass(frozen=True)
class Bar:
    """One bar from `start` to `end`; `text` is its figure in words, `kind` one of the chart's legend, or "plain"."""

    name: str
    start: int
    end: int
    text: str
    kind: str = "plain"


@dataclass(frozen=True)
class DrawnBar:
    """A bar where it is drawn."""

    bar: Bar
    label: str
    x: int
    y: int
    width: int
    middle: int


@dataclass(frozen=True)
class Tick:
    """A mark on the axis."""

    x: int
    text: str


@dataclass(frozen=True)
class Chart:
    """A chart, laid out.

    Attributes:
        title: what it shows.
        axis: what its axis measures, with the unit.
        says: what a person who can't see it should know.
        legend: kinds of bar that are not plain, each with its words.
        zero: where zero lies.
        columns: headings of the table behind it.
    """

    name: str
    title: str
    axis: str
    says: str
    columns: tuple[str, str]
    bars: tuple[DrawnBar, ...]
    ticks: tuple[Tick, ...]
    legend: tuple[tuple[str, str], ...]
    zero: int
    height: int

    width: int = WIDTH

    @property
    def bottom(self) -> int:
        """Where the bars end and the axis begins."""
        return self.height - AXIS


def axis_step(span: int) -> int:
    """The distance of marks, a one, two or five with zeros behind, that gives at most a handful of them."""
    step = 1
    while True:
        for factor in (1, 2, 5):
            if span <= step * factor * _TICKS_AT_MOST:
                return step * factor
        step *= 10


def draw_bars(
    name: str,
    title: str,
    axis: str,
    says: str,
    columns: tuple[str, str],
    bars: Sequence[Bar],
    tick_text: Callable[[int], str],
    legend: Sequence[tuple[str, str]] = (),
) -> Chart:
    """Lay bars out, one under the other in their order, on an axis that holds zero."""
    ends = [0, *(end for bar in bars for end in (bar.start, bar.end))]
    step = axis_step(max(max(ends) - min(ends), 1))
    low = min(ends) // step * step
    high = -(-max(ends) // step) * step
    room = WIDTH - NAMES - FIGURES

    def place(value: int) -> int:
        return NAMES + (value - low) * room // max(high - low, 1)

    drawn = []
    for row, bar in enumerate(bars):
        left, right = sorted((place(bar.start), place(bar.end)))
        y = TOP + row * ROW
        label = bar.name if len(bar.name) <= _NAME_LETTERS else f"{bar.name[: _NAME_LETTERS - 1]}…"
        drawn.append(DrawnBar(bar, label, left, y + (ROW - BAR) // 2, max(right - left, 1), y + ROW // 2))
    ticks = tuple(Tick(place(value), tick_text(value)) for value in range(low, high + 1, step))
    used = {bar.kind for bar in bars}
    shown = tuple((kind, words) for kind, words in legend if kind in used)
    height = TOP + len(bars) * ROW + AXIS
    return Chart(name, title, axis, says, columns, tuple(drawn), ticks, shown, place(0), height)
