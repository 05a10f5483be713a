"""A per-user cache of built files: each entry is a folder, complete or absent.

An entry is built in a folder beside and renamed into place, so that several processes can build
the same one at once. It carries the digest of its product; a product that does not match it
(truncated by a full disk, say) counts as absent and is built again. What was not used for longest
goes when the cache is full (``cache_bound``).
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from gainwright.errors import InputError, input_error
from gainwright_codegen.host.cache_bound import keep_within, note_use

DIRECTORY_VARIABLE = "GAINWRIGHT_CACHE_DIR"
ZIG_VARIABLES = ("ZIG_GLOBAL_CACHE_DIR", "ZIG_LOCAL_CACHE_DIR")
DIGEST_FILE = "sha256"
_ATTEMPTS = 5


def cache_directory() -> Path:
    """Return the folder of the cache; it need not exist yet."""
    if chosen := os.environ.get(DIRECTORY_VARIABLE):
        return Path(chosen).absolute()
    if xdg := os.environ.get("XDG_CACHE_HOME"):
        return Path(xdg).absolute() / "gainwright"
    try:
        home = Path.home()
    except RuntimeError as error:
        raise _unusable(Path("~"), str(error)) from error
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "gainwright"
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local")) / "gainwright"
    return home / ".cache" / "gainwright"


def zig_environment() -> dict[str, str]:
    """Return what keeps Zig's own cache inside ours, unless the user has put it elsewhere."""
    return {name: os.environ.get(name, str(cache_directory() / "zig")) for name in ZIG_VARIABLES}


@contextlib.contextmanager
def scratch_cache(folder: str | Path | None = None) -> Iterator[None]:
    """Use another cache for a while, in this process and those begun meanwhile.

    For parts that nobody needs again; Zig keeps its big one. Without a folder the cache is empty
    and goes at the end.
    """
    if folder is not None:
        with _cache_at(str(folder)):
            yield
        return
    with (
        tempfile.TemporaryDirectory(prefix="gainwright-", ignore_cleanup_errors=True) as empty,
        _cache_at(empty),
    ):
        yield


@contextlib.contextmanager
def _cache_at(folder: str) -> Iterator[None]:
    changes = {**zig_environment(), DIRECTORY_VARIABLE: folder}
    before = {name: os.environ.get(name) for name in changes}
    os.environ.update(changes)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def find(name: str, product: str) -> Path | None:
    """Return the product of an entry if it is there, whole and readable."""
    if present := _whole(cache_directory() / name, product):
        note_use(present)
    return present


def obtain(name: str, product: str, build: Callable[[Path], None]) -> Path:
    """Return the product of an entry, building it where it is absent or damaged.

    ``build`` gets an empty folder and must leave the file ``product`` in it; anything else that
    it leaves there is kept as well.

    Raises:
        InputError: the folder of the cache cannot be written, or as raised by ``build``.
    """
    root = cache_directory()
    entry = root / name
    if present := _whole(entry, product):
        note_use(present)
        return present
    try:
        root.mkdir(mode=0o700, parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=".building-", dir=root))
    except OSError as error:
        raise _unusable(root, str(error)) from error
    try:
        build(scratch)
        (scratch / DIGEST_FILE).write_text(_digest(scratch / product), encoding="utf-8")
        made = _publish(scratch, entry, product)
    except OSError as error:
        raise _unusable(root, str(error)) from error
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    with contextlib.suppress(OSError):
        keep_within(root, DIGEST_FILE)
    return made


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _whole(entry: Path, product: str) -> Path | None:
    try:
        noted = (entry / DIGEST_FILE).read_text(encoding="utf-8")
        return entry / product if _digest(entry / product) == noted else None
    except (OSError, UnicodeDecodeError):
        return None


def _publish(scratch: Path, entry: Path, product: str) -> Path:
    """Rename the scratch folder to the entry; whoever came first wins, damage is put aside."""
    for _ in range(_ATTEMPTS):
        try:
            scratch.rename(entry)
        except OSError as error:
            if not entry.exists():
                raise
            if present := _whole(entry, product):
                return present
            _set_aside(entry, error)
        else:
            return entry / product
    raise OSError(errno.EBUSY, f"{entry} is damaged and cannot be replaced")


def _set_aside(entry: Path, cause: OSError) -> None:
    """Move a damaged entry out of the way and delete it."""
    grave = Path(tempfile.mkdtemp(prefix=".damaged-", dir=entry.parent))
    try:
        # Another process may do the same at this moment; then there is nothing left to move.
        with contextlib.suppress(FileNotFoundError):
            entry.rename(grave / "entry")
    except OSError:
        raise cause from None
    finally:
        shutil.rmtree(grave, ignore_errors=True)


def _unusable(root: Path, why: str) -> InputError:
    return input_error(
        root,
        "cache of compiled parts",
        why,
        "a folder that can be written",
        f"set {DIRECTORY_VARIABLE} to a folder of your own, or make this one writable",
    )
