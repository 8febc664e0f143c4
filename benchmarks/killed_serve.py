"""Opens shops in processes of their own, quickly: python killed_serve.py; a line "FOLDER PORT" on standard input is
answered by the number of the process that serves it. Libraries and kernels are loaded once, before the first.
"""

from __future__ import annotations

import os
import signal
import sys


def main() -> None:
    """Reads, forks, serves."""
    # The kernels' other way to use threads does not outlive a fork; what they compute is the same.
    os.environ["NUMBA_THREADING_LAYER"], os.environ["NUMBA_NUM_THREADS"] = "workqueue", "1"
    import proofpatch as pp
    from proofpatch.bench import warm
    from proofpatch.cli_serve import open_shop

    warm()
    belief = pp.prior(pp.Surface([pp.Layer("baked-grease")], "cast-iron"), "pulsed-500")
    setting = pp.Setting(150.0, 3e4, 2e-7, 4.5e-4, 0.05, 8.0, 0.05)
    pp.forecast(pp.update(belief, [pp.Graded(setting, "partial", "none")]), pp.Limits())
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # a killed one is gone at once
    print("ready", flush=True)
    for line in sys.stdin:
        folder, port = line.rsplit(maxsplit=1)
        child = os.fork()
        if child == 0:
            with open(os.devnull, "w", encoding="utf-8") as nowhere:
                os.dup2(nowhere.fileno(), sys.stdout.fileno())
            open_shop(folder, int(port), False, None, lambda: None)
            os._exit(0)
        print(child, flush=True)


if __name__ == "__main__":
    main()
