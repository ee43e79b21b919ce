"""Writes a file so that it is there as a whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from preservecheck.errors import PreservecheckError


def write_whole(path: Path, text: str) -> None:
    """Write UTF-8 text into a file beside the target, then put it in its place.

    Raises
    ------
    PreservecheckError
        The file cannot be written; what was there before is untouched.
    """
    if path.is_dir():
        raise PreservecheckError(f"{path}: is a folder; give a file")
    part: str | None = None
    try:
        path = path.resolve()  # a link stays a link
        if path.exists() and not path.is_file():  # a device or a pipe is written to, never replaced
            path.write_text(text, encoding="utf-8")
            return
        handle, part = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        mask = os.umask(0)
        os.umask(mask)
        Path(part).chmod(path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~mask)
        os.replace(part, path)
    except OSError as error:
        raise PreservecheckError(f"{path}: cannot be written: {error.strerror or error}") from None
    finally:
        if part is not None:
            Path(part).unlink(missing_ok=True)


def write_all(files: Mapping[Path, bytes]) -> None:
    """Write several files, all or none: each beside its target first, then all put in their places.

    Raises
    ------
    PreservecheckError
        One cannot be written; what was there before is as it was.
    """
    parts: dict[Path, Path] = {}
    before = {path: path.read_bytes() if path.is_file() else None for path in files}
    done: list[Path] = []
    try:
        for path, data in files.items():
            if path.is_dir():
                raise PreservecheckError(f"{path}: is a folder; give a file")
            parts[path] = path.with_name(f".{path.name}.{os.getpid()}.part")
            parts[path].write_bytes(data)
        for path, part in parts.items():
            os.replace(part, path)
            done.append(path)
    except OSError as error:
        for path in done:
            old = before[path]
            if old is None:
                path.unlink(missing_ok=True)
            else:
                path.write_bytes(old)
        raise PreservecheckError(f"{path}: cannot be written: {error.strerror or error}") from None
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)
