"""A drive of a process's own: full after so many bytes, or one that may not be written."""

import os
import shutil
import subprocess
import sys

import pytest


def on_a_drive(mount, code, *words):
    """Runs Python code where `mount`, a shell's line, was done; only that process sees it. Skips where none may be."""
    alone = ["unshare", "--map-root-user", "--mount", "sh", "-ec"]
    tried = shutil.which("unshare") and subprocess.run([*alone, "mount -t tmpfs none /mnt"], capture_output=True)
    if not tried or tried.returncode:
        pytest.skip("this machine lets no process have drives of its own")
    line = f'{mount} && exec "$0" "$@"'
    return subprocess.run(
        [*alone, line, sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True, check=False,
        timeout=120, env=os.environ,
    )  # fmt: skip
