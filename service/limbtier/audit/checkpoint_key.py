"""The key that signs checkpoints, in a folder of its own with the last checkpoint that it signed.

The folder is only for the service: nobody else may read or enter it, and nothing in it is a link. Keys that
were replaced stay as public keys. The last checkpoint stands beside the key so that a database that was set
back, or replaced, is noticed: whoever can do that cannot change this folder with it.
"""

from __future__ import annotations

import os
import secrets
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import StoreUnavailable
from limbtier.foundation.signed_note import (
    InvalidKey,
    SigningKey,
    VerifierKey,
    read_verifier_key,
)

KEY: Final = "signing_key"
NEXT: Final = "next_signing_key"
CHECKPOINT: Final = "checkpoint"
_MOST_BYTES: Final = 1_000_000


class KeysUnusable(StoreUnavailable):
    """The folder of the log's key, or a file in it, cannot be used as it is."""


@dataclass(frozen=True, slots=True)
class LogKeys:
    """The key that signs now, and the public keys of those before it, the oldest first."""

    signing: SigningKey
    former: tuple[VerifierKey, ...] = ()

    @property
    def verifiers(self) -> tuple[VerifierKey, ...]:
        """All public keys, the oldest first."""
        return (*self.former, self.signing.verifier)

    def followed_by(self, name: str) -> LogKeys:
        """A new key of that name, with all keys until now as its former ones."""
        return LogKeys(SigningKey.generate(name), self.verifiers)


@dataclass(frozen=True, slots=True)
class Rotation:
    """A change of keys that has begun: it counts once the log has the entry with this id."""

    entry_id: str
    keys: LogKeys


class KeyFolder:
    """The folder. Every method but construction raises KeysUnusable."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def read(self) -> LogKeys | None:
        """The keys; None where no key was made yet."""
        text = self._read(KEY)
        return None if text is None else self._keys(text, KEY)

    def make(self, name: str) -> LogKeys:
        """Make the folder and a first key in it. There must be none."""
        self._make_folder()
        keys = LogKeys(SigningKey.generate(name))
        self.replace(keys)
        return keys

    def replace(self, keys: LogKeys) -> None:
        """Sign with other keys from now on."""
        self._write(KEY, _text(keys))

    def adopt(self, keys: LogKeys, note: str) -> None:
        """Sign with other keys from now on, which signed this checkpoint; the folder is made if need be."""
        self._make_folder()
        self.replace(keys)
        self.keep_checkpoint(note)
        self.drop_rotation()

    def read_rotation(self) -> Rotation | None:
        """The change of keys that has begun and not ended."""
        text = self._read(NEXT)
        if text is None:
            return None
        entry_id, _, rest = text.partition("\n")
        return Rotation(entry_id, self._keys(rest, NEXT))

    def begin_rotation(self, rotation: Rotation) -> None:
        """Keep the new key beside the old one, which still signs."""
        self._write(NEXT, f"{rotation.entry_id}\n{_text(rotation.keys)}")

    def end_rotation(self) -> None:
        """Sign with the new key from now on; the old secret is gone."""
        rotation = self.read_rotation()
        if rotation is not None:
            self.replace(rotation.keys)
            self.drop_rotation()

    def drop_rotation(self) -> None:
        """Forget a change of keys that never came into the log."""
        with self._opened() as folder:
            with suppress(FileNotFoundError):
                os.unlink(NEXT, dir_fd=folder)
            os.fsync(folder)

    def read_checkpoint(self) -> str | None:
        """The last checkpoint that was signed, None before the first."""
        return self._read(CHECKPOINT)

    def keep_checkpoint(self, note: str) -> None:
        """Keep a checkpoint, durably, in place of the one before."""
        self._write(CHECKPOINT, note)

    def _make_folder(self) -> None:
        try:
            self.path.mkdir(mode=0o700, exist_ok=True)
        except OSError as error:
            raise _unusable(f"The folder `{self.path}` cannot be made: {error.strerror}.") from None

    def _keys(self, text: str, name: str) -> LogKeys:
        first, *others = text.splitlines() or [""]
        try:
            return LogKeys(SigningKey.read(first), tuple(map(read_verifier_key, others)))
        except InvalidKey as error:
            raise _unusable(
                f"`{self.path / name}` holds no key: {error.diagnostics[0].message}",
                "Put the file back as it was, from wherever copies of it are kept.",
            ) from None

    def _read(self, name: str) -> str | None:
        if not os.path.lexists(self.path):
            return None
        with self._opened() as folder:
            try:
                descriptor = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK, dir_fd=folder)
            except FileNotFoundError:
                return None
            with os.fdopen(descriptor, "rb") as file:
                self._check(os.fstat(descriptor), self.path / name, stat.S_ISREG, "plain file", "600")
                data = file.read(_MOST_BYTES)
        try:
            return data.decode("utf-8")
        except UnicodeDecodeError:
            raise _unusable(f"`{self.path / name}` is no text.") from None

    def _write(self, name: str, text: str) -> None:
        """Write a file whole or not at all, durably."""
        unfinished = f".{name}.{secrets.token_hex(4)}"
        with self._opened() as folder:
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW
            descriptor = os.open(unfinished, flags, 0o600, dir_fd=folder)
            try:
                with os.fdopen(descriptor, "wb") as file:
                    file.write(text.encode())
                    file.flush()
                    os.fsync(file.fileno())
                os.rename(unfinished, name, src_dir_fd=folder, dst_dir_fd=folder)
                os.fsync(folder)
            finally:
                with suppress(FileNotFoundError):
                    os.unlink(unfinished, dir_fd=folder)

    @contextmanager
    def _opened(self) -> Iterator[int]:
        """The folder, opened and checked, so that it cannot be swapped for another meanwhile."""
        descriptor = None
        try:
            descriptor = os.open(self.path, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
            self._check(os.fstat(descriptor), self.path, stat.S_ISDIR, "folder", "700")
            yield descriptor
        except OSError as error:
            what = f"`{self.path}` or a file in it cannot be used: {error.strerror or error}."
            raise _unusable(what, "It must be a folder of the service's own, without links.") from None
        finally:
            if descriptor is not None:
                os.close(descriptor)

    def _check(
        self,
        found: os.stat_result,
        path: Path,
        is_kind: Callable[[int], bool],
        kind: str,
        mode: str,
    ) -> None:
        if not is_kind(found.st_mode):
            raise _unusable(f"`{path}` is no {kind}.")
        if found.st_uid != os.geteuid():
            owner = f"It belongs to user {found.st_uid}, and this process runs as {os.geteuid()}."
            raise _unusable(f"`{path}` belongs to somebody else. {owner}", "Run as the user of the service.")
        if stat.S_IMODE(found.st_mode) & 0o077:
            raise _unusable(
                f"Others may use `{path}`: its mode is {stat.S_IMODE(found.st_mode):03o}.",
                f"If nobody can have read it, set `chmod {mode} {path}`; else change the key too "
                "(`limbtier rotate-key`).",
            )


def _text(keys: LogKeys) -> str:
    return "".join(f"{line}\n" for line in (keys.signing.secret_text(), *keys.former))


def _unusable(message: str, advice: str = "Give the service a folder of its own for it.") -> KeysUnusable:
    return KeysUnusable([Diagnostic("store-unavailable", message, advice)])
