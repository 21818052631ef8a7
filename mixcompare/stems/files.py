"""The files that are stems: found in a folder, opened, and those left out that are none."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from mixcompare.audio.recording import Recording
from mixcompare.errors import AudioFileError, ParameterError
from mixcompare.paths import checked_path

ENDINGS = (".wav", ".flac", ".aif", ".aiff", ".ogg", ".mp3", ".w64", ".caf")
MOST = 24  # cost: a cross power for each pair

Given = str | Path | Mapping[str, str | Path | Recording]


def opened(given: Given, whose: str = "the stems") -> tuple[dict[str, Recording], tuple[str, ...]]:
    """All stems by name, and a sentence for every file that is left out.

    Parameters
    ----------
    given : str, Path or mapping
        A folder, or files by name.
    whose : str
        What to call them in sentences.

    Raises
    ------
    ParameterError
        If there is no such folder, none or one stem in it, or more than 24.
    """
    files: Mapping[str, str | Path | Recording]
    if isinstance(given, Mapping):
        files, where = given, whose
    else:
        folder, where = checked_path(given, "the folder of the stems"), str(given)
        try:
            inside = list(folder.iterdir())
        except PermissionError as error:
            raise ParameterError(
                f"{where}: cannot be read (permission denied); open it for reading."
            ) from error
        except (OSError, ValueError) as error:
            raise ParameterError(
                f"{where}: is no folder; name the folder that holds the stems."
            ) from error
        found = sorted(
            path
            for path in inside
            if path.suffix.lower() in ENDINGS and not path.name.startswith(".")
        )
        bare = Counter(path.stem for path in found)
        files = {path.name if bare[path.stem] > 1 else path.stem: path for path in found}
    if len(files) > MOST:
        raise ParameterError(
            f"{where}: holds {len(files)} stems, more than {MOST}; bounce sections together."
        )
    out: dict[str, Recording] = {}
    notes = []
    for name, file in files.items():
        try:
            if not isinstance(file, Recording):
                file = Recording.open(checked_path(file, f"the stem {name}"))
            out[name] = file
        except AudioFileError as error:
            notes.append(f"Left out of {whose}: {error}")
    if len(out) < 2:
        raise ParameterError(
            f"{where}: holds {len(out)} stem{'s' * (len(out) != 1)} that can be read; two or more"
            " are needed."
        )
    return out, tuple(notes)
