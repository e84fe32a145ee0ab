"""Files and folders that appear whole or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from maskgen.errors import InputError


def load(path: Path, *, what: str) -> bytes:
    """Read a file.

    Raises
    ------
    InputError
        When there is none or it cannot be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError as error:
        raise InputError(f"no such {what}", where=str(path), mend="check the name and the folder") from error
    except IsADirectoryError as error:
        raise InputError(
            f"is a folder; a file is wanted ({what})", where=str(path), mend="name the file in it"
        ) from error
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read: {_reason(error)}", where=str(path), mend="check the file") from error


def save(path: Path, data: bytes) -> None:
    """Write a file; whatever happens, there is the old one or the new one, never a half.

    Raises
    ------
    InputError
        When it cannot be written.
    """
    save_parts(path, [data])


def check_folder(path: Path, *, ours: Callable[[str], bool]) -> None:
    """Make sure a folder can be written or replaced without losing anything: before the long work, not after it.

    An existing folder is replaced only when every file in it is one of `ours` (told by its relative path).

    Raises
    ------
    InputError
        When something else lies there, or the folder above it is missing.
    """
    if path.is_dir():
        for file in sorted(p for p in path.rglob("*") if not p.is_dir() or p.is_symlink()):
            name = file.relative_to(path).as_posix()
            if not ours(name):
                raise InputError(
                    f"the folder holds `{name}`, which is not from here", where=str(path), mend="name another folder"
                )
    elif path.exists() or path.is_symlink():
        raise InputError("is a file", where=str(path), mend="name a folder that does not exist yet")


def save_parts(path: Path, parts: Iterable[bytes]) -> None:
    """Write a file part by part; whatever happens, there is the old one or the new one, never a half.

    Raises
    ------
    InputError
        When it cannot be written.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("wb") as file:
            file.writelines(parts)
        part.replace(path)
    except (OSError, ValueError) as error:
        part.unlink(missing_ok=True)
        raise InputError(f"cannot be written: {_reason(error)}", where=str(path), mend="name another file") from error


def save_folder(path: Path, files: Mapping[str, bytes] | Iterable[tuple[str, bytes]]) -> None:
    """Write a folder of files by relative path; it appears whole, an older one of ours is gone only then.

    Files may be made one at a time, as they are written.

    Raises
    ------
    InputError
        When it cannot be written; nothing is left behind.
    """
    new = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new = Path(tempfile.mkdtemp(prefix=f".{path.name}.", dir=path.parent))
        for name, data in files.items() if isinstance(files, Mapping) else files:
            target = new / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)
        new.chmod(0o777 & ~_umask())
        _swap(new, path)
    except OSError as error:
        raise InputError(f"cannot be written: {_reason(error)}", where=str(path), mend="name another folder") from error
    finally:
        if new is not None:
            shutil.rmtree(new, ignore_errors=True)


def _swap(new: Path, path: Path) -> None:
    if not path.exists():
        new.rename(path)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{path.name}.old.", dir=path.parent)) / "was"
    path.rename(old)
    try:
        new.rename(path)
    except OSError:
        old.rename(path)
        raise
    finally:
        shutil.rmtree(old.parent, ignore_errors=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
