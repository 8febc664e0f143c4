"""What cleaning did to the bare ground: change of tone, tinted and burnt places, hot edges."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from proofpatch.learn.evidence import HARMS
from proofpatch.photos.colour import difference
from proofpatch.photos.grades import TONE_EDGES, likeliest, tone_chances, worse_of
from proofpatch.photos.hot_edges import HotEdge, band_spread, hot_edges

Floats = NDArray[np.floating]
Truths = NDArray[np.bool_]

# All ours, tried on toy fields; none is from a source.
PLACE = 3.5e-4  # m, a place is as large as this when its tone is judged
BLOCK = 2.0e-3  # m, means over blocks of this tell how sure a mean is
LIGHT_LEFT = 0.6  # Lab units, what is left of uneven light and white balance
STRETCH = 6.0e-3  # m, blocks of this side tell how the ground changes from one window to the next:
ELSEWHERE = 1.2  # times the spread among them
USUAL = 0.9995  # of the bare sample's places look usual
BEYOND, FARTHEST = 1.15, 4.0  # times as far as the farthest usual place is unusual, and so many spreads at least
LEAST_PLACE = 0.1e-6  # m², one place smaller than this is none
RIM, SPECK, ALONG = 6.0e-4, 1.0e-6, 0.85  # m and m², of coating's rims and specks; cosine to its colour
# From what on harm is left to the eye; chosen on made strips of seeds 0 and 1.
LIGHTER, FOREIGN = 4.0, 15.0  # L* lighter, CIEDE2000: no beam does that, it is another ground than the sample's
LOOSE_TONE = 3.2  # L*, standard error of the tone
COVERED = 0.7  # of the window
LIKE_CHAR = 0.52  # coating darker than so much of the ground's L* looks like char
DARK, SPOT = 0.62, 4.0e-4  # of the bare ground's L*, char is darker (CIE 15); m, across a spot
NEARLY = 0.4  # a small sample that nearly shows such spots is of a ground that has them
SIDE_BAND, SIDE_COVERED, SIDE_TIMES = 1.2e-3, 0.15, 3.0  # m; share of it covered; times the middle's share
UNLIKE = "The cleaned ground looks unlike the bare sample: no harm is told."


@dataclass(frozen=True)
class Tone:
    """Cleaned ground against bare ground.

    Args:
        change: CIEDE2000 of the means; `error` its standard error.
        darker: fall of L*, positive is darker; yellower: rise of b*; each with its standard error.
    """

    change: float
    error: float
    darker: float
    darker_error: float
    yellower: float
    yellower_error: float


@dataclass(frozen=True)
class BareTone:
    """The bare sample.

    Args:
        mean, sure: mean Lab (3,) and its covariance, for the next window of the same piece.
        places, farthest: covariance among places (3, 3), and how far the usual ones go in spreads.
        bands: as `band_spread`.
        spotted: whether it has dark spots of its own, which char would look like.
    """

    mean: Floats
    sure: Floats
    places: Floats
    farthest: float
    bands: tuple[float, float]
    spotted: bool


@dataclass(frozen=True)
class Harm:
    """What cleaning did in one window.

    Args:
        chances: of each grade; None: cannot be told, and `doubt` says why.
        where: grade of each place (H, W), 0 none … 3 burnt, 0 where coating is on; small places are shown, not graded.
    """

    tone: Tone | None
    chances: dict[str, float] | None
    tinted: float
    burnt: float
    hot_edges: tuple[str, ...]
    hot_edge_share: float
    where: NDArray[np.uint8]
    doubt: str = ""


def learn_bare(pictures: list[tuple[Floats, Truths]], scale: float) -> BareTone:
    """What bare ground looks like, from Lab pictures of it and where each is no pore."""
    mean = np.concatenate([lab[ground] for lab, ground in pictures]).astype(np.float64).mean(axis=0)
    places = np.concatenate([_places(lab, ground, scale)[ground] for lab, ground in pictures])
    spread = np.cov(places.T) + 0.25 * np.eye(3)
    far = _far(places, mean, spread)
    far_apart, _, _ = _block_spread(pictures, STRETCH, scale)
    sure = _mean_covariance(pictures, scale) + ELSEWHERE**2 * far_apart + LIGHT_LEFT**2 * np.eye(3)
    across, standing = np.max([band_spread(lab, ground, scale) for lab, ground in pictures], axis=0)
    farthest = max(float(np.quantile(far, USUAL)) * BEYOND, FARTHEST)
    nowhere = [np.zeros(ground.shape, bool) for _, ground in pictures]
    spotted = any(
        _dark_spots(lab, ~none, none, scale, NEARLY).any() for (lab, _), none in zip(pictures, nowhere, strict=True)
    )
    return BareTone(mean, sure, spread, farthest, (float(across), float(standing)), spotted)


def judge_harm(
    lab: Floats, open_ground: Truths, places: Truths, coating: Truths, coat: Floats, bare: BareTone, scale: float
) -> Harm:
    """Tone and harm of the open ground (H, W) of one window's Lab picture (H, W, 3).

    Args:
        open_ground: where the ground is surely bare (H, W), for its tone. places: where it may be, for marks on it.
        coating: where coating is (H, W). coat: its mean Lab (3,), for specks of it too small to be told.
    """
    where = np.zeros(lab.shape[:2], np.uint8)
    count = int(open_ground.sum())
    if count < (0.5 * BLOCK * scale) ** 2:
        return Harm(None, None, 0.0, 0.0, (), 0.0, where)
    change = lab[open_ground].astype(np.float64).mean(axis=0) - bare.mean
    covariance = bare.sure + _mean_covariance([(lab, open_ground)], scale)
    overall = tone_chances(bare.mean, change, covariance)
    where = _strange_places(lab, open_ground, places, bare, scale)
    where[_of_coating(lab, where > 0, coating, coat, bare, scale)] = 0
    edges = hot_edges(lab, places, bare.bands, scale)
    for edge in edges:
        grade = max(int(np.searchsorted(TONE_EDGES, edge.by, side="right")), 1)
        where[edge.where] = np.maximum(where[edge.where], grade)
    hot = np.logical_or.reduce([edge.where for edge in edges]).mean() if edges else 0.0
    tone = _tone(bare.mean, change, covariance)
    spots = _dark_spots(lab, open_ground, coating, scale)
    charred = bool(spots.any()) and not bare.spotted
    doubt = _doubt(coating, bool(spots.any()) and bare.spotted, tone, coat, bare, scale)
    where[spots] = len(HARMS) - 1
    chances = worse_of(overall, _edge_chances(edges))
    if charred:
        chances = worse_of(chances, _about(len(HARMS) - 1))
    told = bool(edges) or charred or (overall[HARMS[0]] < 0.5 and doubt != UNLIKE)
    if overall[HARMS[0]] < 0.5:
        where[open_ground] = np.maximum(where[open_ground], max(HARMS.index(likeliest(overall)), 1))
    return Harm(
        tone, chances if told or not doubt else None,
        _share(where >= 1, places), _share(where >= 3, places), tuple(edge.name for edge in edges), float(hot), where,
        "" if told else doubt,
    )  # fmt: skip


def _share(part: Truths, whole: Truths) -> float:
    return float((part & whole).sum() / max(whole.sum(), 1))


def _strange_places(
    lab: Floats, open_ground: Truths, places: Truths, bare: BareTone, scale: float
) -> NDArray[np.uint8]:
    """Harm grade (H, W) of places whose tone is out of the usual, about the window's own tone and about bare ground's.

    An even tint is the mean's matter: were places held against bare ground alone, its dark grain would count as burnt.
    """
    place = _places(lab, places, scale)
    middle = np.median(lab[open_ground], axis=0).astype(np.float64)
    beyond = np.full(open_ground.shape, np.inf)
    for centre in (bare.mean, middle):
        far = _far(place.reshape(-1, 3), centre, bare.places).reshape(open_ground.shape)
        off = difference(centre, place)
        # Only what lies beyond the usual places counts, or every line of grain at their rim would be harm.
        beyond = np.minimum(beyond, off * np.maximum(1 - bare.farthest / np.maximum(far, 1e-6), 0))
    strange = ndimage.binary_opening(places & (beyond > TONE_EDGES[0]), iterations=1)
    return np.where(strange, np.searchsorted(TONE_EDGES, beyond, side="right"), 0).astype(np.uint8)


def _of_coating(lab: Floats, strange: Truths, coating: Truths, coat: Floats, bare: BareTone, scale: float) -> Truths:
    """Which strange places (H, W) are specks and rims of coating: small or beside it, and off towards its colour."""
    label, count = ndimage.label(strange, structure=np.ones((3, 3)))
    if count == 0:
        return np.zeros(strange.shape, bool)
    near = ndimage.binary_dilation(coating, iterations=max(1, round(RIM * scale)))
    numbers = np.arange(1, count + 1)
    size = ndimage.sum_labels(strange, label, numbers) / scale**2
    beside = ndimage.sum_labels(near, label, numbers) > 0
    off = np.stack([ndimage.mean(lab[..., i], label, numbers) for i in range(3)], axis=1) - bare.mean
    way = coat - bare.mean
    towards = off @ way / (np.linalg.norm(off, axis=1) * np.linalg.norm(way) + 1e-9) > ALONG
    small = towards & ((size < SPECK) | beside & (size < 4 * SPECK) | (way[0] > 0))
    return np.asarray(np.concatenate([[False], small | (size < LEAST_PLACE)])[label])


def _tone(reference: Floats, change: Floats, covariance: Floats) -> Tone:
    step = 1e-3
    here = float(difference(reference, reference + change))
    base = change if np.linalg.norm(change) > 0.05 else np.array([0.05, 0.0, 0.0])
    at = float(difference(reference, reference + base))
    slope = np.array([
        (float(difference(reference, reference + base + step * axis)) - at) / step for axis in np.eye(3)
    ])  # fmt: skip
    return Tone(
        here, float(np.sqrt(slope @ covariance @ slope)),
        float(-change[0]), float(np.sqrt(covariance[0, 0])), float(change[2]), float(np.sqrt(covariance[2, 2])),
    )  # fmt: skip


def _places(lab: Floats, mask: Truths, scale: float) -> Floats:
    """Mean Lab (H, W, 3) of the masked pixels around each place."""
    sigma = PLACE * scale
    weight = ndimage.gaussian_filter(mask.astype(np.float32), sigma, truncate=3)
    held = np.asarray(lab * mask[..., None], dtype=np.float32)
    return np.asarray(
        ndimage.gaussian_filter(held, (sigma, sigma, 0), truncate=3) / np.maximum(weight, 1e-3)[..., None]
    )


def _far(lab: Floats, mean: Floats, spread: Floats) -> Floats:
    """Distance (N,) from the mean in spreads."""
    root = np.linalg.cholesky(np.linalg.inv(spread))
    z = (lab - mean) @ root
    return np.asarray(np.sqrt(np.einsum("nd,nd->n", z, z)))


def _mean_covariance(pictures: list[tuple[Floats, Truths]], scale: float) -> Floats:
    """Covariance of the mean colour by how block means vary; pixels side by side are not independent."""
    spread, number, blocks = _block_spread(pictures, BLOCK, scale)
    return 4.0 * np.eye(3) if blocks < 3 else np.asarray(spread / max(number - 1, 1) + 1e-4 * np.eye(3))


def _block_spread(pictures: list[tuple[Floats, Truths]], side: float, scale: float) -> tuple[Floats, float, int]:
    """(covariance among the mean colours of blocks of this side [m], how many they are worth, how many there are)."""
    size = max(2, round(side * scale))
    means, weights = [], []
    for lab, mask in pictures:
        rows, columns = (np.arange(n) // size for n in mask.shape)
        label = rows[:, None] * (columns[-1] + 1) + columns
        flat, inside = label.ravel(), mask.ravel()
        count = np.bincount(flat[inside], minlength=int(flat.max()) + 1).astype(np.float64)
        sums = [np.bincount(flat[inside], lab[..., i].ravel()[inside], minlength=len(count)) for i in range(3)]
        full = count > 0.1 * size * size
        means.append(np.stack(sums, axis=1)[full] / count[full, None])
        weights.append(count[full])
    mean, weight = np.concatenate(means), np.concatenate(weights)
    if len(mean) < 2:
        return 4.0 * np.eye(3), 1.0, len(mean)
    middle = np.average(mean, axis=0, weights=weight)
    spread = (weight[:, None] * (mean - middle)).T @ (mean - middle) / weight.sum()
    return np.asarray(spread), float(weight.sum() ** 2 / (weight**2).sum()), len(mean)


def _doubt(coating: Truths, spotted: bool, tone: Tone, coat: Floats, bare: BareTone, scale: float) -> str:
    """Why nobody should say from this photo that nothing was harmed; empty: one may.

    An unknown is hazardous: where char would look like the ground's own spots, or like coating, the eye must tell.
    """
    if tone.darker < -LIGHTER or tone.change > FOREIGN:
        return UNLIKE
    if tone.darker_error > LOOSE_TONE:
        return "The ground itself varies too much for one sample to tell a change of tone."
    if coating.mean() > COVERED:
        return "Too much is covered to say that nothing below is harmed."
    if spotted:
        return "Small dark spots: look with a lens whether they are pits of the ground or char."
    if coat[0] < LIKE_CHAR * bare.mean[0] and coating.sum() > LEAST_PLACE * scale**2:
        return "Char would look like this coating: look with a lens."
    if _along_sides(coating, scale):
        return "Coating or scorch lies along a side of the patch: look with a lens."
    return ""


def _dark_spots(lab: Floats, open_ground: Truths, coating: Truths, scale: float, nearly: float = 0.0) -> Truths:
    """Ground as dark as char (H, W) and wider than a pore, clear of coating; none where all of it is too small.

    nearly: how much less dark, narrow and large will do, 0 to 1.
    """
    size = max(1, round((1 - nearly) * SPOT * scale))
    dark = (lab[..., 0] < (DARK + (1 - DARK) * nearly / 2) * np.median(lab[open_ground][:, 0])) & ~coating
    away = cv2.dilate(coating.astype(np.uint8), np.ones((2 * size + 1,) * 2, np.uint8)) == 0
    core = cv2.morphologyEx((dark & away).astype(np.uint8), cv2.MORPH_OPEN, np.ones((size, size), np.uint8)) > 0
    return np.asarray(core & (core.sum() > (1 - nearly) * LEAST_PLACE * scale**2))


def _along_sides(coating: Truths, scale: float) -> bool:
    """Whether coating lies along a side and not within."""
    band = max(2, round(SIDE_BAND * scale))
    middle = float(coating[band:-band, band:-band].mean())
    sides = coating[:band], coating[-band:], coating[:, :band], coating[:, -band:]
    return max(float(side.mean()) for side in sides) > max(SIDE_COVERED, SIDE_TIMES * middle)


def _edge_chances(edges: list[HotEdge]) -> dict[str, float]:
    """Chance of each grade by the worst hot edge alone, one grade off one time in ten."""
    worst = max((max(int(np.searchsorted(TONE_EDGES, edge.by, side="right")), 1) for edge in edges), default=0)
    if worst == 0:
        return {grade: float(grade == HARMS[0]) for grade in HARMS}
    return _about(worst)


def _about(worst: int) -> dict[str, float]:
    """Chances when one grade was seen: one off one time in ten."""
    chances = dict.fromkeys(HARMS, 0.0)
    chances[HARMS[worst]] += 0.9
    for beside in (worst - 1, worst + 1):
        chances[HARMS[min(max(beside, 0), 3)]] += 0.05
    return chances
