"""What the windows of a photographed strip show: how much coating is left, and what cleaning did to the ground.

Every step is judged by the piece itself: a sample of untouched coating and one of bare substrate, in the same photo.
Where one is missing it is taken from the strip, said so and trusted less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from proofpatch.photos.corrections import Grader
from proofpatch.photos.flat import INSET, Box, Flat
from proofpatch.photos.grades import likeliest, residue_chances, residue_of
from proofpatch.photos.grounds import (
    SMOOTH,
    blurred,
    features,
    log_density,
    pooled,
)
from proofpatch.photos.looks import TEXTURE_FROM, Looks, Samples, learn_looks, rimmed
from proofpatch.photos.mixture import BETWEEN, Mix, could_be_tint, fit_mix, memberships
from proofpatch.photos.pores import dents, find_pores
from proofpatch.photos.ring import swept
from proofpatch.photos.tone import Harm, Tone, judge_harm

Floats = NDArray[np.floating]
Truths = NDArray[np.bool_]

BARE, COATING, TINT, MARKED, BURNT, PORE, UNKNOWN = range(7)  # codes of a mask

# All ours, tried on toy fields; none is from a source.
MOST_PIXELS, FINE_ENOUGH = 500_000, 0.95  # of all windows together, and how near to it is near enough
GRAIN = 4.0e-4  # m, beyond which places are independent
FILM_WIDE = 4.0e-4  # m, half the width from which what lies between is a thin film and no blurred rim
FAINTEST = 0.2  # of the way to the coating's colour; a fainter film is the ground's own shade
SAYS, FILM_ODDS = 10.0, 0.3  # pixels that count for film against tint; odds of a film before looking
IMITATED = 0.5  # of the share left, its error where tinted ground would look the same
LIKE_TINT = "Tinted ground would look just like this coating: look with a lens, or try a solvent at a corner."
UNLIKE, UNLIKE_ERROR = 12.0, 0.2  # Lab units the cleaned ground lies off the sample; the error that adds
TRACE = 0.08  # share of a place covered from which its tone is not judged
FLOOR = 0.006  # share, error that no sample removes
RIM = 2.0e-4  # m, by how much the rim of coating is doubtful
STRANGE = 0.03  # share of a window that looks like neither sample, worth saying
CLEAR = 4.0e-4  # m, within which of coating the tone of bare ground is not judged
CELL = 2.0e-3  # m, squares by which unevenness is told


@dataclass(frozen=True)
class Seen:
    """What one step's window shows. Shares are of the window's area without pores, unless said.

    Args:
        fraction_left, fraction_error: share still covered and its standard error; None: cannot be told.
        unevenness: standard deviation of the share left among squares of 2 mm.
        tone: cleaned against bare ground; None: nothing bare to judge, or no bare sample.
        tinted, burnt: shares of the open ground whose tone is out of the usual, by 1 and by 5 CIEDE2000 and more.
        hot_edges: names of the window's sides that are hotter than its middle; `hot_edge_share` of the window.
        pores: share of the whole window that is pores or pits; `pores_bare` the same in the bare sample.
        strange: share that looks like neither sample.
        residue, harm: suggested grades, None: grade by eye; with the chance of each.
        warnings, assumed: sentences.
        mask: (H, W) of BARE, COATING, TINT, MARKED, BURNT, PORE, UNKNOWN; its pixels may be coarser than the window's.
        ring: sides of the window along which nothing was swept; all shares are then of what lies inside.
    """

    fraction_left: float | None
    fraction_error: float | None
    unevenness: float
    tone: Tone | None
    tinted: float
    burnt: float
    hot_edges: tuple[str, ...]
    hot_edge_share: float
    pores: float
    pores_bare: float | None
    strange: float
    residue: str | None
    residue_chances: dict[str, float] | None
    harm: str | None
    harm_chances: dict[str, float] | None
    warnings: tuple[str, ...]
    assumed: tuple[str, ...]
    mask: NDArray[np.uint8]
    ring: tuple[str, ...] = ()


def grade_strip(
    flat: Flat, windows: Sequence[Box], coated: Sequence[Box] = (), bare: Sequence[Box] = (),
    grader: Grader | None = None,
) -> list[Seen]:  # fmt: skip
    """What each window of a flattened sheet shows; `coated`, `bare`: windows on untouched coating and bare ground."""
    samples = Samples(*(tuple(flat.part(box, INSET) for box in boxes) for boxes in (coated, bare)))
    return grade_steps([flat.part(box, INSET) for box in windows], samples, flat.scale, grader)


def grade_steps(windows: Sequence[Floats], samples: Samples, scale: float, grader: Grader | None = None) -> list[Seen]:
    """What each window shows.

    Args:
        windows: pictures (H, W, 3) in linear sRGB, paper white 1, one a step.
        samples: untouched coating and bare substrate.
        scale: pixels of a metre [1/m].
        grader: what the user's corrections taught about this surface.
    """
    windows, samples, scale = _worked(windows, samples, scale)
    looks = learn_looks(windows, samples, scale, grader or Grader())
    if looks is None:
        words = "There is neither untouched coating nor bare ground to compare with: grade by eye."
        return [_by_eye(window, (words,), ()) for window in windows]
    return [_grade(window, looks) for window in windows]


def _worked(windows: Sequence[Floats], samples: Samples, scale: float) -> tuple[list[Floats], Samples, float]:
    """The pictures no finer than there is time for, and their scale."""
    pixels = sum(w.shape[0] * w.shape[1] for w in windows)
    shrink = min(1.0, np.sqrt(MOST_PIXELS / max(pixels, 1)))
    if shrink > FINE_ENOUGH:
        return list(windows), samples, scale

    def coarse(picture: Floats) -> Floats:
        size = max(1, round(picture.shape[1] * shrink)), max(1, round(picture.shape[0] * shrink))
        return np.asarray(cv2.resize(np.asarray(picture, np.float32), size, interpolation=cv2.INTER_AREA))

    few = Samples(*(tuple(coarse(p) for p in pictures) for pictures in (samples.coated, samples.bare)))
    return [coarse(w) for w in windows], few, scale * shrink


def _grade(window: Floats, looks: Looks) -> Seen:
    if looks.too_alike:
        share = 100 * (looks.missed + looks.false) / 2
        words = f"Too alike to tell: grade by eye. {share:.0f} in 100 places of the two samples are mistaken."
        return _by_eye(window, (words,), looks.assumed)
    x = features(window, looks.scale, looks.texture)
    rows, columns, sides = swept(_like_coating(x, looks), looks.scale)
    seen = _judged(x[rows, columns], looks)
    if not sides:
        return seen
    mask = np.full(x.shape[:2], COATING, np.uint8)
    mask[rows, columns] = seen.mask
    said = f"Untouched coating lies along the window ({', '.join(sides)}): only the patch inside it is graded."
    return replace(seen, mask=mask, ring=sides, warnings=(said, *seen.warnings))


def _like_coating(x: Floats, looks: Looks) -> Truths:
    """Where places look more like the untouched coating than like bare ground (H, W)."""
    flat = x.reshape(-1, x.shape[-1])
    odds = log_density(flat, looks.grounds.coated) - log_density(flat, looks.grounds.bare)
    return np.asarray(pooled(odds.reshape(x.shape[:2]), looks.scale) > 0)


def _judged(x: Floats, looks: Looks) -> Seen:
    """What the features (H, W, D) of the swept part of a window show."""
    flat = x.reshape(-1, x.shape[-1])
    mixes = [fit_mix(flat, looks.grounds, film) for film in (True, False)]
    weight = _film_weight(mixes[0].likely - mixes[1].likely)
    off = float(np.linalg.norm(mixes[1].tone[:3]))
    imitated = could_be_tint(flat, looks.grounds, mixes[1])
    thoughts = [(w, _covered(x, looks, mix)) for w, mix in zip((weight, 1 - weight), mixes, strict=True) if w > 0.02]
    _, (covered, strange) = max(thoughts, key=lambda thought: thought[0])
    lab = np.ascontiguousarray(x[..., :3])
    pores, narrow = _pores(lab, covered, looks)
    return _seen(lab, pores, narrow, covered, strange, [(w, c) for w, (c, _) in thoughts], looks, imitated, off)


def _pores(lab: Floats, covered: Floats, looks: Looks) -> tuple[Truths, Truths]:
    """(where pores are, where anything narrow is dark). Coating is levelled first: a gap in pale paint is no pore."""
    if looks.pores is None or looks.bare_tone is None:
        return np.zeros(covered.shape, bool), np.zeros(covered.shape, bool)
    level = (1 - covered) * lab[..., 0] + covered * looks.bare_tone.mean[0]
    narrow = (dents(level, looks.scale) > looks.pores.depth) & (covered < 0.5)
    return find_pores(level, looks.pores, looks.scale) & (covered < 0.5), narrow


def _film_weight(gain: float) -> float:
    """Chance that a thin film explains the window better than a tint of the ground, from the gain of ln likelihood."""
    return float(1 / (1 + np.exp(-np.clip(gain * SAYS + np.log(FILM_ODDS), -30, 30))))


def _covered(x: Floats, looks: Looks, mix: Mix) -> tuple[Floats, Truths]:
    """(share of each pixel (H, W) that is covered, where it looks like neither sample)."""
    shape = x.shape[:2]
    parts = memberships(x.reshape(-1, x.shape[-1]), looks.grounds, mix)
    covered = (parts["coated"].sum(axis=1) + parts["between"] @ np.array(BETWEEN)).reshape(shape)
    if mix.film:
        seen = np.array(BETWEEN) >= FAINTEST
        film = _smoothed(parts["between"][:, seen].sum(axis=1).reshape(shape), looks.scale) > 0.5
        core = ndimage.distance_transform_edt(film) > FILM_WIDE * looks.scale
        wide = film & ndimage.binary_dilation(core, iterations=max(1, round(FILM_WIDE * looks.scale)))
        covered = np.maximum(covered, wide)
    return covered, _smoothed(parts["else"][:, 0].reshape(shape), looks.scale) > 0.5


def _smoothed(share: Floats, scale: float) -> Floats:
    return blurred(share, SMOOTH * scale)


def _seen(
    lab: Floats, pores: Truths, narrow: Truths, covered: Floats, strange: Truths,
    thoughts: list[tuple[float, Floats]], looks: Looks, imitated: bool, off: float,
) -> Seen:  # fmt: skip
    ground = ~pores
    area = max(int(ground.sum()), 1)
    left = float(covered[ground].mean())
    odd = float((strange & ground).sum() / area)
    added = IMITATED * left * imitated, odd, UNLIKE_ERROR * (off > UNLIKE)
    error = float(np.linalg.norm([_fraction_error(left, covered, ground, thoughts, looks), *added]))
    smooth = _smoothed(covered, looks.scale)
    coating = smooth > 0.5
    places = ~rimmed(pores) & _clear_of(coating, looks.scale)
    open_ground = places & ~rimmed(narrow) & _clear_of(smooth > TRACE, looks.scale)
    harm = (
        judge_harm(lab, open_ground, places, coating, looks.grounds.coated.mean[:3], looks.bare_tone, looks.scale)
        if looks.bare_tone
        else Harm(None, None, 0.0, 0.0, (), 0.0, np.zeros(coating.shape, np.uint8))
    )
    chances = residue_chances(left, error)
    mask = np.zeros(coating.shape, np.uint8)
    mask[strange] = UNKNOWN
    for grade, code in ((1, TINT), (2, MARKED), (3, BURNT)):
        mask[harm.where == grade] = code
    mask[coating] = COATING
    mask[pores] = PORE
    return Seen(
        left, error, _unevenness(covered, ground, looks.scale), harm.tone, harm.tinted, harm.burnt, harm.hot_edges,
        harm.hot_edge_share, float(pores.mean()), looks.pores.share if looks.pores else None, odd,
        residue_of(left), chances, likeliest(harm.chances) if harm.chances else None, harm.chances,
        (*looks.warnings, *_warnings(thoughts, odd, harm, looks, imitated, off)), looks.assumed, mask,
    )  # fmt: skip


def _clear_of(coating: Truths, scale: float) -> Truths:
    """Ground well clear of coating, whose rim is blurred; less clear where little would stay."""
    far = ndimage.distance_transform_edt(~coating)
    well = far > CLEAR * scale
    return np.asarray(well if 3 * well.sum() > (~coating).sum() else far > CLEAR / 2 * scale)


def _fraction_error(
    left: float, covered: Floats, ground: Truths, thoughts: list[tuple[float, Floats]], looks: Looks
) -> float:
    """Standard error of the share left: what places are unsure of, what the samples mistake, film or tint, the rim."""
    doubt = covered[ground] * (1 - covered[ground])
    number = max(ground.sum() / (GRAIN * looks.scale) ** 2, 1.0)
    sampling = float(np.sqrt(doubt.mean() / number))
    overlap = np.hypot(left * looks.missed, (1 - left) * looks.false)
    shares = [(w, float(c[ground].mean())) for w, c in thoughts]
    total = sum(w for w, _ in shares)
    film = np.sqrt(sum(w * (s - left) ** 2 for w, s in shares) / total)
    coating = covered > 0.5
    rim = float((coating ^ ndimage.binary_erosion(coating, border_value=1)).mean()) * RIM * looks.scale / 2
    return float(np.sqrt(FLOOR**2 + sampling**2 + overlap**2 + film**2 + rim**2 + looks.added_error**2))


def _unevenness(covered: Floats, ground: Truths, scale: float) -> float:
    size = max(2, round(CELL * scale))
    rows, columns = (n // size for n in covered.shape)
    if rows * columns < 2:
        return 0.0
    cut = np.where(ground, covered, np.nan)[: rows * size, : columns * size]
    cells = cut.reshape(rows, size, columns, size).swapaxes(1, 2).reshape(rows * columns, -1)
    counted = np.isfinite(cells).sum(axis=1) > size
    return float(np.nanmean(cells[counted], axis=1).std()) if counted.any() else 0.0


def _warnings(
    thoughts: list[tuple[float, Floats]], odd: float, harm: Harm, looks: Looks, imitated: bool, off: float
) -> list[str]:
    words = [LIKE_TINT] if imitated else []
    if off > UNLIKE:
        words.append("The cleaned ground looks unlike the bare sample: take a sample from the same kind of place.")
    if len(thoughts) > 1 and abs(float(thoughts[0][1].mean() - thoughts[1][1].mean())) > 0.05:
        words.append("A thin film and a tint of the ground look the same here: look with a lens.")
    if odd > STRANGE:
        words.append(
            f"{100 * odd:.0f} % looks like neither sample: another layer, a spot of rust, or harm. Tap it to say what."
        )
    if harm.doubt:
        words.append(f"Harm is not told. {harm.doubt}")
    if harm.tone is None and looks.bare_tone is not None:
        words.append("Too little bare ground shows to judge its tone.")
    if (looks.missed + looks.false) / 2 > TEXTURE_FROM and not looks.too_alike:
        words.append("Coating and bare ground look much alike here: check by eye.")
    return words


def _by_eye(window: Floats, warnings: tuple[str, ...], assumed: tuple[str, ...]) -> Seen:
    mask = np.full(window.shape[:2], UNKNOWN, np.uint8)
    return Seen(
        None, None, 0.0, None, 0.0, 0.0, (), 0.0, 0.0, None, 0.0, None, None, None, None, warnings, assumed, mask
    )
