"""What is kept on disk from one run to the next: the reference's features, what was found.

Arrays and JSON, nothing else: a file is data and never run. What is kept stands beside what it was
made of (fingerprints of the sound, of mixcompare's own code and of the libraries); where that
is no longer so, or the file is damaged, it is made again.
"""

from __future__ import annotations

import functools
import hashlib
import json
import os
import zipfile
from importlib import metadata, resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from mixcompare import __version__
from mixcompare.audio.recording import Recording
from mixcompare.errors import AudioFileError, OutputError
from mixcompare.features import Features
from mixcompare.outputs import cannot
from mixcompare.paths import hindrance

FORMAT = 1
"""Of the files kept; rises when they change."""

_READ_BYTES = 1 << 22
_LIBRARIES = ("numpy", "scipy", "soundfile", "soxr", "matplotlib", "jinja2")
"""Of whose versions a report may depend."""

Json = dict[str, Any]


def fingerprint(path: str | Path) -> str:
    """Fingerprint of a file's bytes: the same sound in the same file, whatever its date.

    Raises
    ------
    AudioFileError
        If the file cannot be read.
    """
    trouble = hindrance(Path(path))
    if trouble:
        raise AudioFileError(f"{path}: {trouble}")
    digest = hashlib.blake2b(digest_size=20)
    try:
        with open(path, "rb") as handle:
            while block := handle.read(_READ_BYTES):
                digest.update(block)
    except OSError as error:
        raise AudioFileError(f"{path}: cannot be read ({error.strerror}).") from error
    return digest.hexdigest()


def identity(**known: Any) -> str:
    """One fingerprint of everything on which a result depends."""
    whole = {"format": FORMAT, "version": __version__, "code": _code(), **known}
    text = json.dumps(whole, sort_keys=True)
    return hashlib.blake2b(text.encode(), digest_size=20).hexdigest()


@functools.cache
def _code() -> str:
    """Fingerprint of mixcompare's own files and of the versions of its libraries."""
    digest = hashlib.blake2b(digest_size=20)

    def add(place: Traversable) -> None:
        for entry in sorted(place.iterdir(), key=lambda entry: entry.name):
            if entry.is_dir() and entry.name != "__pycache__":
                add(entry)
            elif entry.is_file():
                digest.update(entry.name.encode() + entry.read_bytes())

    add(resources.files("mixcompare"))
    for name in _LIBRARIES:
        digest.update(f"{name} {metadata.version(name)}".encode())
    return digest.hexdigest()


def kept_features(recording: Recording, audio: str, folder: Path) -> Path:
    """The reference's features on disk, analysed now where they are not there.

    Parameters
    ----------
    recording : Recording
        The reference, or a span of it.
    audio : str
        Fingerprint of its file.
    folder : Path
        Where features are kept.

    Returns
    -------
    Path
        To be read with :func:`load_features`.

    Raises
    ------
    AudioFileError
        If the recording holds nothing to compare.
    OutputError
        If they cannot be written.
    """
    made_of = identity(audio=audio, name=recording.name, span_s=recording.span_s)
    path = folder / f"features-{made_of}.npz"
    if is_whole(path):
        return path
    features = Features.of(recording)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        scratch = path.with_suffix(f".{os.getpid()}.npz")
        features.save(scratch)
        said = {
            "mixcompare_version": __version__,
            "format": FORMAT,
            "audio": audio,
            "name": recording.name,
            "span_s": recording.span_s,
            "arrays": fingerprint(scratch),
        }
        write_json(path.with_suffix(".json"), said)
        os.replace(scratch, path)
    except OSError as error:
        raise OutputError(cannot(folder, error)) from error
    return path


def is_whole(path: Path) -> bool:
    """Whether kept features are there, undamaged."""
    said = read_json(path.with_suffix(".json"))
    try:
        return said is not None and said.get("arrays") == fingerprint(path)
    except AudioFileError:
        return False


def load_features(path: str | Path) -> Features:
    """Features that were kept.

    Raises
    ------
    AudioFileError
        If the file is not there or damaged.
    """
    try:
        return Features.load(path)
    except FileNotFoundError:
        raise AudioFileError(f"{path}: the reference's features are not seen here.") from None
    except (OSError, ValueError, KeyError, TypeError, zipfile.BadZipFile) as error:
        raise AudioFileError(f"{path}: damaged; remove it and run again.") from error


def write_json(path: Path, document: Json) -> None:
    """Write a document at once.

    Raises
    ------
    OSError
    """
    write_text(path, json.dumps(document, indent=1, ensure_ascii=False) + "\n")


def write_text(path: Path, text: str) -> None:
    """Write a file at once: it is there whole, or as it was; a link is replaced, not followed.

    Raises
    ------
    OSError
    """
    scratch = path.with_name(f".{path.name}.{os.getpid()}")
    scratch.write_text(text, "utf-8")
    os.replace(scratch, path)


def read_json(path: Path) -> Json | None:
    """What such a file holds; None where it is not there or is something else."""
    try:
        document = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return None
    return document if isinstance(document, dict) else None
