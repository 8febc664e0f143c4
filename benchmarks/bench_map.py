"""What drawing several pulses as one does to the bench's doses: python benchmarks/bench_map.py

Edge and middle of the profile against the same piece of the same stroke with every pulse placed. Where that is more
pulses than are ever placed there is no reference, and the setting is counted apart.
"""

from __future__ import annotations

import itertools
import statistics

from proofpatch import bench
from proofpatch.errors import InputError
from proofpatch.lasers import Laser, laser, laser_ids
from proofpatch.physics.setting import Setting

EVERY = 9_500_000  # pulses, nearly the most that are placed
# travel speed [m/s], sweep speed [m/s], rate [Hz], sweep width [m]
KNOBS = (
    (0.05, 10, 200e3, 0.04), (0.05, 10, 1e6, 0.04), (0.005, 10, 200e3, 0.08), (0.005, 10, 1e6, 0.08),
    (0.15, 3, 1e6, 0.08), (0.002, 1, 1e6, 0.02), (0.002, 0.3, 1e6, 0.01), (0.01, 12, 50e3, 0.08),
    (0.02, 5, 300e3, 0.06), (0.005, 8, 100e3, 0.04), (0.05, 10, 25e3, 0.08), (0.02, 3, 200e3, 0.08),
)  # fmt: skip
DOSES = ("dose_edge_J_m2", "dose_middle_J_m2")


def main() -> None:
    """Prints the worst and the middle difference, and how long a piece is drawn."""
    moved, refused, lengths = [], 0, []
    for key, pattern, (travel, sweep, rate, width) in itertools.product(laser_ids(), ("line", "sine"), KNOBS):
        own = laser(key)
        setting = Setting(own.max_power, rate, 200e-9, own.spot_radius, width, sweep, travel, 1, pattern)
        (few,) = bench.lay_out([setting], own.top_hat_share, own)
        lengths.append(few.grid.rows * few.grid.pixel)
        every = every_pulse(setting, own)
        if every is None:
            refused += 1
        else:
            moved.append(max(abs(few.record[dose] / every.record[dose] - 1) for dose in DOSES))
    print(f"{len(moved)} settings compared, {refused} more without a reference")
    print(f"worst {max(moved):.2%}, middle {statistics.median(moved):.3%}")
    print(f"{sum(one < 0.019 for one in lengths)} pieces shorter than 19 mm, the shortest {min(lengths) * 1e3:.1f} mm")


def every_pulse(setting: Setting, own: Laser) -> bench.Side | None:
    """The same piece with none drawn for another; None where that is too many."""
    kept = bench.MOST_PULSES, bench.CROWDED, bench.STROKE
    pitch = setting.travel_speed * setting.sweep_width / setting.sweep_speed
    close = bench.CROWDED * setting.spot_radius
    as_one = max(int(close * setting.repetition_rate / setting.sweep_speed), 1) * max(int(close / pitch), 1)
    length = min(bench.STROKE, bench.MOST_PULSES * as_one * setting.travel_speed / setting.repetition_rate)
    bench.MOST_PULSES, bench.CROWDED, bench.STROKE = EVERY, 0.0, length
    try:
        return bench.lay_out([setting], own.top_hat_share, own)[0]
    except InputError:
        return None
    finally:
        bench.MOST_PULSES, bench.CROWDED, bench.STROKE = kept


if __name__ == "__main__":
    main()
