"""Opening a notation file: the tree of its score, nothing fetched, nothing unpacked to disk."""

from __future__ import annotations

import io
import zipfile
import zlib
from pathlib import Path, PurePosixPath
from xml.etree import ElementTree
from xml.parsers import expat

from mixcompare.errors import ScoreError

MOST_BYTES = 100_000_000  # cost: a movement for 41 parts takes 8 MB
_MOST_TAGS = 3_000_000  # cost: the same movement has 600 000
_CONTAINER = "META-INF/container.xml"  # MusicXML 4.0, compressed files


def tree_of(path: Path) -> ElementTree.Element:
    """The root of a plain or compressed file, whatever it is called.

    Raises
    ------
    ScoreError
        If it is too large, breaks off, declares entities of its own or is no such file.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise _too_large(path)
        data = path.read_bytes()
    except OSError as error:
        raise ScoreError(f"{path}: cannot be read ({error.strerror}); choose another.") from error
    if data[:2] == b"PK":
        data = _unpacked(path, data)
    return _parsed(path, data)


def partwise(root: ElementTree.Element) -> ElementTree.Element:
    """A score part by part, whichever of MusicXML's two orders it was written in."""
    if root.tag != "score-timewise":
        return root
    out = ElementTree.Element("score-partwise", root.attrib)
    parts: dict[str, ElementTree.Element] = {}
    for child in root:
        if child.tag != "measure":
            out.append(child)
            continue
        for part in child.iterfind("part"):
            name = part.get("id", "")
            if name not in parts:
                parts[name] = ElementTree.SubElement(out, "part", part.attrib)
            ElementTree.SubElement(parts[name], "measure", child.attrib).extend(part)
    return out


def _unpacked(path: Path, data: bytes) -> bytes:
    """The score that the archive's own list of contents names."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            container = _parsed(path, _member(path, archive, _CONTAINER))
            root = container.find(".//{*}rootfile")
            name = "" if root is None else root.get("full-path", "")
            if PurePosixPath(name).is_absolute() or ".." in PurePosixPath(name).parts:
                raise ScoreError(
                    f"{path}: names a score outside of its own archive; export it again."
                )
            return _member(path, archive, name)
    except ScoreError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError) as error:
        raise ScoreError(
            f"{path}: the archive is broken or locked; export it again as MusicXML."
        ) from error


def _member(path: Path, archive: zipfile.ZipFile, name: str) -> bytes:
    """One file of the archive, read no further than the bound."""
    try:
        info = archive.getinfo(name)
    except KeyError as error:
        raise ScoreError(
            f"{path}: the archive holds no score; export it again as MusicXML."
        ) from error
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise zipfile.BadZipFile
    with archive.open(info) as file:
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise _too_large(path)
    return data


def _parsed(path: Path, data: bytes) -> ElementTree.Element:
    """The tree, once a first look has found no entities: those could grow without end."""

    def refuse(*_: object) -> None:
        raise ScoreError(
            f"{path}: declares entities of its own, which no score needs; export it again."
        )

    if data.count(b"<") > _MOST_TAGS:
        raise _too_large(path)
    guard = expat.ParserCreate()
    guard.EntityDeclHandler = refuse
    try:
        guard.Parse(data, True)
        return ElementTree.fromstring(data)
    except (expat.ExpatError, ElementTree.ParseError, ValueError, LookupError) as error:
        if isinstance(error, ScoreError):
            raise
        raise ScoreError(
            f"{path}: is no MusicXML, or breaks off ({error!s:.99}); export it again."
        ) from error


def _too_large(path: Path) -> ScoreError:
    return ScoreError(
        f"{path}: holds more than {MOST_BYTES // 1_000_000} MB of notation; cut it to the movement"
        " that is compared."
    )
