"""What a ground looks like: the colours of untouched coating or of bare substrate, learned from pixels of the piece.

Wood, brick and rust are many-coloured, so a ground is a few Gaussians in Lab (and texture where colour cannot tell),
not one mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.cluster.vq import kmeans2

from proofpatch.photos.colour import lab_of

Floats = NDArray[np.floating]

# All of this module's numbers are ours, tried on toy fields; none is from a source.
SOFTEN = 0.6e-4  # m, blur before a pixel is judged: camera noise goes, a pore of wood stays
SMOOTH = 1.0e-4  # m, evidence is pooled over about twice this
ROUGH_OVER = 3.0e-4  # m, over what texture is felt
ROUGH_WEIGHT = 6.0  # Lab units of one step of ln roughness
PARTS = 4  # Gaussians of a ground
NOISE = 0.5  # Lab units, spread that even an even ground has in a photo
WIDEN, ELSEWHERE = 1.15, 0.25  # a ground varies more over the piece than within its sample: of its parts, of all
ENOUGH, MOST = 60, 4000  # pixels a ground is learned from
ROUND = 6  # refinements of the Gaussians after the first parting
BANDS = 6  # of a sample, by turns for learning and for trying; a joint of mortar is wider than one
HALF_SURE = 4.0  # nats, what one pixel may say at most


@dataclass(frozen=True)
class Ground:
    """A mix of Gaussians: shares (K,), means (K, D), covariances (K, D, D); D is 3, or 4 with texture."""

    shares: Floats
    means: Floats
    spreads: Floats

    @property
    def mean(self) -> Floats:
        """Mean colour (D,)."""
        return np.asarray(self.shares @ self.means)

    @property
    def spread(self) -> Floats:
        """Covariance about the one mean (D, D)."""
        off = self.means - self.mean
        return np.asarray(np.einsum("k,kij->ij", self.shares, self.spreads) + (self.shares[:, None] * off).T @ off)


def features(linear: Floats, scale: float, texture: bool = False) -> Floats:
    """What a pixel is judged by (H, W, 3 or 4): Lab softened at 0.06 mm, and ln roughness of L* where asked.

    Light is softened, not Lab: a rim must read as the mix of light that a lens makes of it.
    """
    light = np.ascontiguousarray(linear, dtype=np.float32)
    soft = np.asarray(lab_of(blurred(light, SOFTEN * scale)), dtype=np.float32)
    if not texture:
        return soft
    level: Floats = lab_of(light)[..., 0].astype(np.float32)
    fine = level - blurred(level, ROUGH_OVER * scale)
    rough = np.sqrt(blurred(fine * fine, 1.5 * ROUGH_OVER * scale))
    return np.concatenate([soft, ROUGH_WEIGHT * np.log(NOISE + rough)[..., None]], axis=-1)


def blurred(picture: Floats, sigma: float) -> Floats:
    """A picture (H, W) or (H, W, C) under a Gaussian of so many pixels, cut at three of them; edges repeat."""
    reach = 2 * max(1, round(3 * sigma)) + 1
    single = np.ascontiguousarray(picture, dtype=np.float32)
    return np.asarray(cv2.GaussianBlur(single, (reach, reach), sigma, borderType=cv2.BORDER_REPLICATE))


def thin_out(samples: Floats, most: int = MOST) -> Floats:
    """At most so many of the samples (N, D), evenly picked."""
    return samples[:: max(1, -(-len(samples) // most))]


def learn_ground(samples: Floats, parts: int = PARTS) -> Ground:
    """The ground that shows these samples (N, D); the strangest hundredth is left out."""
    x = np.asarray(thin_out(samples), dtype=np.float64)
    middle = np.median(x, axis=0)
    scale = 1.4826 * np.median(np.abs(x - middle), axis=0) + NOISE
    far = (((x - middle) / scale) ** 2).sum(axis=1)
    x = x[far <= np.quantile(far, 0.99)]
    start, label = kmeans2(x / scale, min(parts, max(1, len(x) // ENOUGH)), seed=0, minit="++")
    del start
    member = np.eye(int(label.max()) + 1)[label]
    ground = _fitted(x, member[:, member.sum(axis=0) > 0])
    for _ in range(ROUND):
        each = part_densities(x, ground)
        each = np.exp(each - each.max(axis=1, keepdims=True))
        ground = _fitted(x, each / each.sum(axis=1, keepdims=True))
    return Ground(ground.shares, ground.means, ground.spreads * WIDEN**2 + ELSEWHERE**2 * ground.spread)


def _fitted(x: Floats, member: Floats) -> Ground:
    """Gaussians of points (N, D) by how much each belongs to each (N, K)."""
    total = member.sum(axis=0) + 1e-9
    means = member.T @ x / total[:, None]
    ridge = NOISE**2 * np.eye(x.shape[1])
    spreads = np.stack([
        (member[:, k, None] * (x - means[k])).T @ (x - means[k]) / total[k] + ridge for k in range(len(total))
    ])  # fmt: skip
    return Ground(total / total.sum(), means, spreads)


def second_order(x: Floats) -> Floats:
    """1, each feature and each product of two (N, 1 + D + D (D + 1) / 2) of points (N, D)."""
    first, second = np.triu_indices(x.shape[1])
    return np.concatenate([np.ones_like(x[:, :1]), x, x[:, first] * x[:, second]], axis=1)


def gauss_terms(shares: Floats, means: Floats, spreads: Floats) -> Floats:
    """What `second_order` points are multiplied by for ln share times density under each of K Gaussians (…, K)."""
    size = means.shape[1]
    precise = np.linalg.inv(spreads)
    pull = np.einsum("kij,kj->ki", precise, means)
    level = np.log(shares) - 0.5 * (
        np.einsum("ki,ki->k", pull, means) + np.linalg.slogdet(spreads)[1] + size * np.log(2 * np.pi)
    )
    first, second = np.triu_indices(size)
    return np.concatenate([level[None], pull.T, (-np.where(first == second, 0.5, 1.0) * precise[:, first, second]).T])


def part_densities(x: Floats, ground: Ground) -> Floats:
    """ln of share times density of each Gaussian (N, K)."""
    middle = ground.mean
    terms = gauss_terms(ground.shares, ground.means - middle, ground.spreads)
    off = np.asarray(x) - middle.astype(x.dtype)
    return np.asarray(second_order(off) @ terms.astype(x.dtype))


def log_sum(each: Floats) -> Floats:
    """ln of the sum of exponentials (N,) of (N, K)."""
    top = each.max(axis=1)
    return np.asarray(top + np.log(np.exp(each - top[:, None]).sum(axis=1)))


def log_density(x: Floats, ground: Ground) -> Floats:
    """ln density (N,) of points (N, D)."""
    return log_sum(part_densities(x, ground))


def pooled(odds: Floats, scale: float) -> Floats:
    """ln odds of a picture (H, W), no pixel too sure of itself, pooled over 0.2 mm."""
    return blurred(np.clip(odds, -HALF_SURE, HALF_SURE), SMOOTH * scale)


def mistaken(coated: Sequence[Floats], bare: Sequence[Floats], scale: float) -> tuple[float, float]:
    """Shares of coating taken for bare and of bare taken for coating, each half judged by what the other taught.

    Args:
        coated, bare: feature pictures (H, W, D).
        scale: pixels of a metre [1/m].
    """
    wrong = np.zeros(2)
    coated_halves, bare_halves = _halves(coated), _halves(bare)
    for test in (0, 1):
        taught = [learn_ground(_samples(half[1 - test])) for half in (coated_halves, bare_halves)]
        for i, half in enumerate((coated_halves[test], bare_halves[test])):
            share, count = 0.0, 0
            for part in half:
                flat = part.reshape(-1, part.shape[-1])
                odds = (log_density(flat, taught[i]) - log_density(flat, taught[1 - i])).reshape(part.shape[:2])
                share += float((pooled(odds, scale) < 0).sum())
                count += odds.size
            wrong[i] += share / max(count, 1) / 2
    return float(wrong[0]), float(wrong[1])


def _samples(pictures: Sequence[Floats]) -> Floats:
    return np.concatenate([p.reshape(-1, p.shape[-1]) for p in pictures])


def _halves(pictures: Sequence[Floats]) -> tuple[list[Floats], list[Floats]]:
    """Each picture cut into bands across its longer side, dealt out by turns: both halves see joint and brick."""
    first: list[Floats] = []
    second: list[Floats] = []
    for picture in pictures:
        p = picture if picture.shape[0] >= picture.shape[1] else picture.swapaxes(0, 1)
        ends = np.linspace(0, p.shape[0], BANDS + 1).round().astype(int).tolist()
        for n, (start, end) in enumerate(pairwise(ends)):
            (first, second)[n % 2].append(p[start:end])
    return first, second
