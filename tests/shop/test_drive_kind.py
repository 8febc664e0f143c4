"""A drive of the network and a folder that is kept in step are refused before a shop is made there."""

import os
from pathlib import Path

import pytest
from made_drive import on_a_drive
from made_laptop import free_port

from proofpatch import InputError
from proofpatch.cli import main
from proofpatch.shop import drive
from proofpatch.shop.drive import far, kind_of, refuse_far

# proc(5), mountinfo: mount, parent, device, root, where, options, optional ones, " - ", kind, source, options.
MOUNTS = """\
22 1 254:0 / / rw,relatime - ext4 /dev/vda rw
30 22 0:50 / /srv/shops rw shared:1 - nfs4 server:/shops rw,vers=4.2
31 22 0:51 / /mnt/on\\040the\\040wall rw - cifs //server/wall rw
32 22 0:52 / /home/a/far rw,nosuid - fuse.sshfs a@b:/ rw,user_id=0
33 22 0:53 / /media/usb rw - fuseblk /dev/sdb1 rw
34 30 254:1 / /srv/shops/local rw - xfs /dev/vdb rw
35 22 0:54 / /srv/over rw - nfs4 server:/over rw
36 22 254:2 / /srv/over rw - ext4 /dev/vdc rw
"""
# mount(8) of macOS, from memory: device on path (kind, options), "local" among them for its own drives.
MAC = """\
/dev/disk3s1s1 on / (apfs, sealed, local, read-only, journaled)
/dev/disk3s5 on /System/Volumes/Data (apfs, local, journaled, nobrowse)
//a@server/shops on /Volumes/shops (smbfs, nodev, nosuid, mounted by a)
/dev/disk5s1 on /Volumes/USB stick (exfat, local, nodev, nosuid, noowners)
wall on /Volumes/wall (macfuse, nodev, nosuid, synchronous)
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/shop", "ext4"), ("/srv/shops", "nfs4"), ("/srv/shops/oak", "nfs4"), ("/srv/shopsX", "ext4"),
        ("/srv/shops/local/oak", "xfs"), ("/mnt/on the wall/shop", "cifs"), ("/home/a/far/shop", "fuse.sshfs"),
        ("/media/usb/shop", "fuseblk"), ("/srv/over/shop", "ext4"),
    ],
)  # fmt: skip
def test_the_kind_of_drive_on_linux(path, kind):
    assert kind_of(Path(path), MOUNTS, "linux") == kind


@pytest.mark.parametrize(
    ("path", "kind"),
    [("/Users/a/shop", "apfs"), ("/Volumes/shops/oak", "smbfs"), ("/Volumes/USB stick/shop", "exfat"),
     ("/Volumes/wall/shop", "fuse.macfuse")],
)  # fmt: skip
def test_the_kind_of_drive_on_macos(path, kind):
    assert kind_of(Path(path), MAC, "darwin") == kind


def test_a_drive_of_this_machine_is_none_to_refuse(tmp_path):
    assert kind_of(tmp_path)
    assert far(tmp_path / "shop" / "not there yet") == ""


@pytest.mark.parametrize("mark", [".sync", ".synced", "._sync_4f21.db", ".file-sync.log", ".xyzsync.log", ".syncing"])
@pytest.mark.parametrize("deep", ["shop", "a/b/shop"])
def test_a_folder_that_is_kept_in_step_is_refused(tmp_path, mark, deep):
    place = tmp_path / "docs" / deep
    place.mkdir(parents=True)
    (tmp_path / "docs" / mark).write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="kept in step with other machines") as told:
        refuse_far(place)
    assert ("own drive" in told.value.remedy, "--risk-this-folder" in told.value.remedy) == (True, True)
    assert far(tmp_path / "elsewhere") == ""
    # By another name it is the same folder.
    os.symlink(place, tmp_path / "short")
    assert mark in far(tmp_path / "short")


def test_what_only_sounds_like_it_is_not_refused(tmp_path, monkeypatch):
    for name in (".rsync-filter", ".asyncrc", "sync", "syncing.txt", ".photos"):
        (tmp_path / name).write_text("", encoding="utf-8")
    assert far(tmp_path / "shop") == ""
    # Programs keep their settings in a home by such names.
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    (tmp_path / ".sync").mkdir()
    assert far(tmp_path / "shop") == ""
    assert "cloud folder" in far(tmp_path / "Library" / "CloudStorage" / "a" / "shop")


def test_serve_refuses_it_in_a_sentence_and_makes_nothing(tmp_path, monkeypatch, capsys):
    mounts, shop = tmp_path / "mountinfo", tmp_path / "shop"
    lines = ["22 1 254:0 / / rw - ext4 /dev/vda rw", f"30 22 0:50 / {tmp_path} rw - nfs4 s:/ rw"]
    mounts.write_text("\n".join(lines), encoding="utf-8")
    monkeypatch.setattr(drive, "MOUNTS", mounts)
    words, told = ["serve", "--folder", str(shop), "--port", str(free_port()), "--network"], []
    for more in ([], ["--risk-this-folder"]):
        with pytest.raises(SystemExit) as ended:
            main([*words, *more])
        told.append((ended.value.code, " ".join(capsys.readouterr().err.split()), shop.exists()))
    (code, said, made), (_, then, made_then) = told
    assert (code, made) == (2, False)
    assert "lies on a drive that is of the network (nfs4). Keep the shop in a folder on this machine's own" in said
    assert ("no passphrase yet" in then, made_then) == (True, True)  # past it, to what is asked next


def test_a_real_drive_of_another_kind_is_told_by_its_kind(tmp_path):
    code = "import sys; from proofpatch.shop.drive import *; print(kind_of(Path(sys.argv[1])), far(Path(sys.argv[1])))"
    done = on_a_drive(f"mount -t tmpfs none {tmp_path}", code, tmp_path / "shop")
    assert done.stdout.strip() == "tmpfs", done.stderr
