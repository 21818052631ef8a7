"""Files that are read: what hinders one from being read, in words."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from mixcompare.errors import ParameterError


def checked_path(given: object, what: str) -> Path:
    """What was given as the path of something.

    Raises
    ------
    ParameterError
        If it is no path.
    """
    if not isinstance(given, str | os.PathLike) or not isinstance(os.fspath(given), str):
        raise ParameterError(f"{what} must be named by a path, not by {given!r:.60}.")
    return Path(given)


def hindrance(path: Path, most_bytes: int | None = None) -> str | None:
    """Why a path is no file that can be read; None where nothing hinders.

    It is not opened: a pipe would wait for whoever writes into it.

    Parameters
    ----------
    path : Path
        Of the file.
    most_bytes : int, optional
        What is larger can't be what is wanted.
    """
    try:
        found = os.stat(path)
    except FileNotFoundError:
        return "no such file; check the path."
    except OSError as error:
        return f"cannot be read ({(error.strerror or str(error)).lower()}); check the path."
    except ValueError:
        return "is no name that a file can have; check the path."
    if stat.S_ISDIR(found.st_mode):
        return "is a folder; name a file in it."
    if not stat.S_ISREG(found.st_mode):
        return "is a pipe or a device; save it as a file first."
    if most_bytes is not None and found.st_size > most_bytes:
        return f"is larger than {most_bytes // 1_000_000} MB; cut it to what is compared."
    if not os.access(path, os.R_OK):
        return "cannot be read (permission denied); open it for reading."
    return None
