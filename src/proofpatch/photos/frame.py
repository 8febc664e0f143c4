"""The printed frame that lies round the patches: where everything on the sheet is.

All lengths are metres on the sheet, from its upper left corner, x to the right and y down. The figures of the layout
are common practice, no source; each says what it is for.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.photos.flat import Box

MM = 1e-3
# ISO 216:2007 (A4); ANSI/ASME Y14.1 size A is 8.5 by 11 in.
PAPERS = {"a4": (210 * MM, 297 * MM), "us-letter": (215.9 * MM, 279.4 * MM)}
OTHER_NAMES = {"letter": "us-letter"}
MOST_STEPS = 12

EDGE = 8 * MM  # bare margin: most printers leave 4 to 6.4 mm white; common practice, no source
MARKER = 16 * MM  # a marker's black side: eight modules of 2 mm; common practice, no source
MODULES = 8  # across a marker with its black border; AprilTag 36h11 has six by six bits inside
CLEAR = 4 * MM  # white round a marker, two modules where one must be; common practice, no source
BESIDE = 5 * MM  # between the side columns and the windows
LABEL = 6 * MM  # above a window: its name and setting
BARE_PAPER = 2 * MM  # white between a label and its window, and below a window
GUTTER = 8 * MM  # paper between two columns of windows: the light is read there
REFERENCE_LABEL = 7 * MM  # above a reference window: two lines of words
REFERENCE_HEIGHT = 40 * MM  # in the side columns
LOW_REFERENCE = 16 * MM  # in a row above the windows, where the piece may be no wider than they are
BRIDGE = 4 * MM  # paper between the two of that row
GREY_HEIGHT = 12 * MM
RULER = 100 * MM
RULER_HEIGHT = 9 * MM
MOST_COLUMNS = 3
# A window is at most this wide, so that the patch is wider than it: as large as fits, for a middling sweep, for a
# narrow one; and at most TALL times as high, as more takes the piece and tells little. Common practice, no source.
WIDEST: tuple[float, ...] = (math.inf, 64 * MM, 30 * MM)
TALL = 1.5
OVERLAP = 2 * MM  # the patch reaches this far under the paper on every side; common practice, no source
# Light thrown back beside the paper's, as the file asks for it. What a printer makes of it must be measured.
# A black, then densities of about 1.05, 0.75, 0.45 and 0.23; common practice, no source.
GREYS = (0.0, 0.09, 0.18, 0.36, 0.59)

PLACES = 8  # markers of a frame: corners and middles of the sides
LAYOUTS = len(PAPERS) * len(WIDEST) * MOST_STEPS


@dataclass(frozen=True)
class Marker:
    """A square marker of the AprilTag family 36h11."""

    id: int
    box: Box


@dataclass(frozen=True)
class Window:
    """A cut-out. step: 1 is the first of the strip; label: where its words are printed."""

    step: int
    box: Box
    label: Box


@dataclass(frozen=True)
class Grey:
    """A printed grey; reflectance: nominal, beside the paper's (0 to 1)."""

    reflectance: float
    box: Box


@dataclass(frozen=True)
class Frame:
    """A sheet with windows.

    Args:
        paper: a4 or us-letter; empty for a plain rectangle without print. layout: the number its markers tell.
        width, height: of the sheet [m]. markers: upper left, middle, upper right, middle left, middle right, lower
            left, middle, lower right. windows: one a step, in order.
        untouched, bare: windows over untouched coating and over known clean substrate of the same piece.
        greys: printed greys. ruler: its upper edge is RULER long. notes: room left for the hand.
    """

    paper: str
    layout: int
    width: float
    height: float
    markers: tuple[Marker, ...]
    windows: tuple[Window, ...]
    untouched: Box | None
    bare: Box | None
    greys: tuple[Grey, ...]
    ruler: Box | None
    notes: Box | None

    @property
    def steps(self) -> int:
        """Windows for steps."""
        return len(self.windows)

    @property
    def cut(self) -> tuple[Box, ...]:
        """Every hole to be cut."""
        return (*(one.box for one in self.windows), *self.references)

    @property
    def references(self) -> tuple[Box, ...]:
        """The windows beside those of the steps."""
        return tuple(box for box in (self.untouched, self.bare) if box)

    @property
    def printed(self) -> tuple[Box, ...]:
        """What bears ink of ours beside the greys, markers and labels included."""
        labels = [one.label for one in self.windows]
        words = [Box(b.left, b.top - REFERENCE_LABEL, b.width, REFERENCE_LABEL) for b in self.references]
        return (*(one.box for one in self.markers), *labels, *words, *([self.ruler] if self.ruler else []))

    @property
    def outline(self) -> NDArray[np.float64]:
        """Corners of the sheet (4, 2) [m], as `corners`."""
        return corners(Box(0.0, 0.0, self.width, self.height))


def corners(box: Box) -> NDArray[np.float64]:
    """Upper left, upper right, lower right, lower left (4, 2) [m]; upper left is up on the sheet and on a marker."""
    right, bottom = box.left + box.width, box.top + box.height
    return np.array([[box.left, box.top], [right, box.top], [right, bottom], [box.left, bottom]])


def frame(steps: int, paper: str = "us-letter", patch_width: float | None = None) -> Frame:
    """The sheet for a strip.

    Args:
        steps: 1 to 12. paper: a4 or us-letter.
        patch_width: of the patches [m], the sweep's; None: the windows are as large as the sheet allows.

    Raises:
        InputError: another number of steps, or another paper.
    """
    paper = OTHER_NAMES.get(paper, paper)
    if paper not in PAPERS:
        raise InputError("paper", f"The paper {paper!r} is not known.", f"Use one of: {', '.join(PAPERS)}.")
    if not 1 <= steps <= MOST_STEPS:
        said = f"A sheet has windows for 1 to {MOST_STEPS} steps, not {steps}."
        raise InputError("steps", said, "Lay the rest as another strip.")
    size = 0
    if patch_width is not None:
        room = patch_width - 2 * OVERLAP
        fits = [n for n in range(len(WIDEST)) if _grid(steps, paper, WIDEST[n])[1] <= room]
        size = fits[0] if fits else len(WIDEST) - 1
    layout = (list(PAPERS).index(paper) * len(WIDEST) + size) * MOST_STEPS + steps - 1
    return frame_of(layout)


@lru_cache(maxsize=LAYOUTS)
def frame_of(layout: int) -> Frame:
    """The sheet whose markers tell this number, 0 to LAYOUTS - 1."""
    kind, steps = divmod(layout, MOST_STEPS)
    paper, size = list(PAPERS)[kind // len(WIDEST)], kind % len(WIDEST)
    width, height = PAPERS[paper]
    right, middle, centre = width - EDGE - MARKER, (height - MARKER) / 2, (width - MARKER) / 2
    bottom = height - EDGE - MARKER
    places = [(EDGE, EDGE), (centre, EDGE), (right, EDGE), (EDGE, middle), (right, middle), (EDGE, bottom),
              (centre, bottom), (right, bottom)]  # fmt: skip
    windows, lowest = _windows(steps + 1, paper, WIDEST[size])
    left, _, _, _ = _room(paper, WIDEST[size])
    ruler = Box(left, bottom - CLEAR - RULER_HEIGHT, RULER, RULER_HEIGHT)
    spare = ruler.top - 2 * BARE_PAPER - lowest
    untouched, bare = _references(paper, WIDEST[size], windows[0].box)
    greys = tuple(
        Grey(value, Box(x, middle + MARKER + CLEAR + n * GREY_HEIGHT, MARKER, GREY_HEIGHT))
        for x in (EDGE, right)
        for n, value in enumerate(GREYS)
    )
    return Frame(
        paper, layout, width, height,
        markers=tuple(Marker(layout * PLACES + n, Box(*at, MARKER, MARKER)) for n, at in enumerate(places)),
        windows=windows,
        untouched=untouched, bare=bare, greys=greys, ruler=ruler,
        notes=Box(left, lowest, width - 2 * left, spare) if spare > 2 * LABEL else None,
    )  # fmt: skip


def layout_of(marker: int) -> tuple[int, int] | None:
    """(layout, place) a marker's number tells, or None if it is on no sheet."""
    layout, place = divmod(marker, PLACES)
    return (layout, place) if 0 <= layout < LAYOUTS else None


def plain(width: float, height: float) -> Frame:
    """A rectangle without print, all of it one window; for a photo without a sheet.

    Args:
        width, height: > 0 [m].

    Raises:
        InputError: a length is not positive.
    """
    for field, value in (("width", width), ("height", height)):
        if not (math.isfinite(value) and value > 0):
            raise InputError(field, f"The {field} is not above zero.", "Measure the rectangle whose corners you tap.")
    whole = Box(0.0, 0.0, width, height)
    return Frame("", -1, width, height, (), (Window(1, whole, Box(0.0, 0.0, 0.0, 0.0)),), None, None, (), None, None)


def _room(paper: str, widest: float) -> tuple[float, float, float, float]:
    """Left, top, width and height of the place for windows with their labels."""
    width, height = PAPERS[paper]
    left, top = EDGE + MARKER + BESIDE, EDGE + MARKER + CLEAR
    low = height - top - RULER_HEIGHT - BARE_PAPER
    top += REFERENCE_LABEL + LOW_REFERENCE + 2 * BARE_PAPER if math.isfinite(widest) else 0.0
    return left, top, width - 2 * left, low - top


def _references(paper: str, widest: float, first: Box) -> tuple[Box, Box]:
    """Untouched and bare: in the side columns, or in a row above the first window."""
    top = EDGE + MARKER + CLEAR + REFERENCE_LABEL
    if math.isinf(widest):
        right = PAPERS[paper][0] - EDGE - MARKER
        return Box(EDGE, top, MARKER, REFERENCE_HEIGHT), Box(right, top, MARKER, REFERENCE_HEIGHT)
    across = (first.width - BRIDGE) / 2
    return (
        Box(first.left, top, across, LOW_REFERENCE), Box(first.left + across + BRIDGE, top, across, LOW_REFERENCE)
    )  # fmt: skip


def _grid(steps: int, paper: str, widest: float) -> tuple[int, float, float]:
    """Columns, and width and height of a window: the largest shorter side, then few columns."""
    _, _, width, height = _room(paper, widest)

    def sized(columns: int) -> tuple[float, float]:
        rows = math.ceil(steps / columns)
        across = min((width - (columns - 1) * GUTTER) / columns, widest)
        return across, min(height / rows - LABEL - 2 * BARE_PAPER, TALL * widest)

    def worth(columns: int) -> tuple[float, int]:
        return round(min(sized(columns)), 6), -columns

    best = max(range(1, MOST_COLUMNS + 1), key=worth)
    return best, *sized(best)


def _windows(steps: int, paper: str, widest: float) -> tuple[tuple[Window, ...], float]:
    """The windows, and where the lowest of them ends.

    Down the columns, so that a stair of passes stays in one line.
    """
    columns, across, along = _grid(steps, paper, widest)
    left, top, width, _ = _room(paper, widest)
    rows = math.ceil(steps / columns)
    cell = (width - (columns - 1) * GUTTER) / columns
    pitch = LABEL + along + 2 * BARE_PAPER

    def cells() -> Iterator[Window]:
        for step in range(steps):
            column, row = divmod(step, rows)
            x, y = left + column * (cell + GUTTER), top + row * pitch
            spare = (cell - across) / 2
            label = Box(x + spare, y, cell - spare, LABEL)
            yield Window(step + 1, Box(x + spare, y + LABEL + BARE_PAPER, across, along), label)

    return tuple(cells()), top + rows * pitch
