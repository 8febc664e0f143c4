"""Draws docs/bench.svg, as docs/bench.md says it. Run: .venv/bin/python docs/bench_picture.py"""

from pathlib import Path

import proofpatch as pp
from proofpatch.bench import lay_out
from proofpatch.pictures.bench import write_picture

LASER = pp.laser("pulsed-500")
A = pp.Setting(300.0, 20e3, 200e-9, LASER.spot_radius, 0.1, 10.0, 0.05)
B = A.with_(average_power=350.0, travel_speed=0.03)
PIECE = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak")


def draw(path: Path) -> None:
    """The picture of the page."""
    write_picture(lay_out([A, B], LASER.top_hat_share, LASER, pp.prior(PIECE, LASER)), path)


if __name__ == "__main__":
    draw(Path(__file__).with_name("bench.svg"))
