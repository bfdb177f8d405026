"""What kind of place a path is: a local disk, a network drive, a folder that is copied to other machines."""

from __future__ import annotations

import os
from pathlib import Path

# File systems on which SQLite's write-ahead log cannot work, since its shared memory does not cross machines
# (sqlite.org/wal.html).
NETWORK_FILE_SYSTEMS = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "ncpfs", "fuse.sshfs", "davfs", "fuse.davfs2")


# How folders begin that services copy to other machines, each file by itself.
SYNCED = ("onedrive", "dropbox", "google drive", "googledrive", "icloud", "nextcloud")


def network_file_system(path: Path, mounts: str | None = None) -> str | None:
    """The kind of network file system that holds `path`, or None for a local disk or where it cannot be told.

    `mounts` is the text of /proc/mounts; None reads it where there is one.
    """
    if str(path).startswith(("\\\\", "//")):
        return "a network share"
    if os.name == "nt":  # pragma: no cover - only on Windows
        import ctypes

        drive = os.path.splitdrive(path.resolve())[0] + "\\"
        remote = 4  # DRIVE_REMOTE, Win32 GetDriveType
        return "a network drive" if ctypes.windll.kernel32.GetDriveTypeW(drive) == remote else None  # type: ignore[attr-defined, unused-ignore]
    if mounts is None:
        try:
            mounts = Path("/proc/mounts").read_text(encoding="utf-8", errors="replace")
        except OSError:
            return None
    where = path.resolve()
    best, kind = -1, ""
    for line in mounts.splitlines():
        parts = line.split()
        if len(parts) < 3:
            continue
        point = Path(parts[1].replace("\\040", " "))
        if (where == point or point in where.parents) and len(point.parts) > best:
            best, kind = len(point.parts), parts[2]
    return kind if kind in NETWORK_FILE_SYSTEMS else None


def synced_folder(path: Path) -> str | None:
    """The folder above `path` that a service copies to other machines, as its name or the environment tells."""
    told = {os.environ[name] for name in ("OneDrive", "OneDriveCommercial", "OneDriveConsumer") if os.environ.get(name)}
    for folder in path.absolute().parents:
        if str(folder) in told or folder.name.casefold().startswith(SYNCED):
            return str(folder)
    return None
