"""On what kind of drive a folder lies: a database that is written needs one of this machine.

On a network drive two machines' locks and what each has in memory do not meet; a program that copies a folder to other
machines copies a database in the middle of a write, and two of them over one another. Neither is seen until it is lost.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from proofpatch.errors import InputError

# File systems of other machines, as Linux calls them (filesystems(5), and names in its own sources; from memory).
NETWORK = frozenset((
    "nfs", "nfs4", "cifs", "smb3", "smbfs", "ncpfs", "afs", "coda", "9p", "ceph", "lustre", "gfs2", "ocfs2", "pvfs2",
    "beegfs", "glusterfs", "davfs", "vboxsf", "vmhgfs", "prl_fs",
))  # fmt: skip
MOUNTS = Path("/proc/self/mountinfo")
# A hidden file or folder by which a program marks what it copies: its name says so, whoever wrote the program.
MARK, INNOCENT = re.compile(r"\..*sync.*"), re.compile(r".*(?:rsync|async|vsync|fsync).*")
CLOUD_FOLDERS = (("Library", "CloudStorage"), ("Library", "Mobile Documents"))  # of macOS; from memory
CLOUD_TAG, CLOUD_BITS = 0x9000001A, 0xFFFF0FFF  # of a folder that Windows keeps in step (MS-FSCC 2.1.2.1; from memory)
REMEDY = "Keep the shop in a folder on this machine's own drive, and its backups there."
RISK = "serve it all the same with --risk-this-folder: a shop that two machines write is ruined."


def refuse_far(folder: str | Path, field: str = "folder") -> None:
    """Refuses a folder on another machine's drive, or one that is kept in step with other machines.

    Raises:
        InputError: it lies on one.
    """
    why = far(Path(folder))
    if why:
        said = f"The folder {str(folder)[-60:]!r} {why}."
        raise InputError(field, said, f"{REMEDY} Or {RISK}")


def far(folder: Path) -> str:
    """Why a shop is not kept in a folder, as a sentence goes on; empty where nothing is known against it.

    The folder may be one that is still to be made.
    """
    place = Path(os.path.realpath(folder))
    kind = kind_of(place)
    if kind in NETWORK or kind.startswith("fuse."):
        whose = "belongs to a program that may send it elsewhere" if kind.startswith("fuse.") else "is of the network"
        return f"lies on a drive that {whose} ({kind.removeprefix('fuse.')})"
    mark = synced(place)
    return f"lies in a folder that is kept in step with other machines ({mark})" if mark else ""


def kind_of(place: Path, mounts: str | None = None, system: str = sys.platform) -> str:
    """The kind of file system, as the system calls it; empty where that is not known.

    Args:
        mounts: what the system says of its drives; None: it is asked.
    """
    if system.startswith("linux"):
        return _kind_on_linux(place, MOUNTS.read_text(encoding="utf-8") if mounts is None else mounts)
    if system == "darwin":  # not tried on one
        return _kind_on_macos(place, _asked(["/sbin/mount"]) if mounts is None else mounts)
    if system == "win32":  # not tried on one
        return _kind_on_windows(place)
    return ""


def _kind_on_linux(place: Path, mounts: str) -> str:
    """Of the mount that holds it: the longest path, and of one path the last (proc(5), mountinfo)."""
    found, longest = "", -1
    for line in mounts.splitlines():
        before, _, after = line.partition(" - ")
        words = before.split()
        if len(words) < 5 or not after:
            continue
        at = re.sub(r"\\([0-7]{3})", lambda octal: chr(int(octal[1], 8)), words[4])
        if _within(place.as_posix(), at) and len(at) >= longest:
            found, longest = after.split()[0], len(at)
    return found


def _kind_on_macos(place: Path, mounts: str) -> str:
    """Of "device on /path (kind, local, …)": what is not called local is of another machine (mount(8); from memory)."""
    found, longest = "", -1
    for said in re.finditer(r"^.+? on (/.*) \(([^()]+)\)$", mounts, re.MULTILINE):
        kind, *options = said[2].split(", ")
        if _within(place.as_posix(), said[1]) and len(said[1]) >= longest:
            found, longest = kind if "local" in options or kind in NETWORK else f"fuse.{kind}", len(said[1])
    return found


def _kind_on_windows(place: Path) -> str:
    if str(place).startswith("\\\\"):
        return "smbfs"
    import ctypes

    remote = 4  # DRIVE_REMOTE of GetDriveTypeW
    known = getattr(ctypes, "windll").kernel32.GetDriveTypeW(place.anchor)  # noqa: B009  # mypy checks as Linux, where it is missing
    return "smbfs" if known == remote else ""


def _asked(words: list[str]) -> str:
    try:
        return subprocess.run(words, capture_output=True, text=True, check=False, timeout=10).stdout
    except (OSError, subprocess.TimeoutExpired):
        return ""


def _within(path: str, at: str) -> bool:
    return path == at or path.startswith(at if at.endswith("/") else f"{at}/")


def synced(place: Path) -> str:
    """By what a folder, or one that it lies in, is known to be kept in step with other machines; empty: by nothing.

    Known are the places where a system itself keeps such folders, and hidden marks whose names say it; a program that
    leaves no such mark is not found.
    """
    for one in (place, *place.parents):
        if any(_within(one.as_posix(), (Path.home() / Path(*parts)).as_posix()) for parts in CLOUD_FOLDERS):
            return "a cloud folder of the system"
        try:
            tag = getattr(one.stat(follow_symlinks=False), "st_reparse_tag", 0)
        except OSError:
            continue  # still to be made
        if tag & CLOUD_BITS == CLOUD_TAG:  # not tried
            return "a cloud folder of the system"
        # A home and what lies above it hold settings of programs, and these have such names too.
        if one != Path.home() and one not in Path.home().parents:
            mark = next(_marks(one), "")
            if mark:
                return f"it holds {mark!r}"
    return ""


def _marks(place: Path) -> Iterator[str]:
    try:
        with os.scandir(place) as rows:
            for row in rows:
                name = row.name.casefold()
                if MARK.fullmatch(name) and not INNOCENT.fullmatch(name):
                    yield row.name
    except OSError:
        return
