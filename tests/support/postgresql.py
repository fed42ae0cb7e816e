"""A PostgreSQL server for the tests: in a temporary folder, on a Unix socket, gone afterwards."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DEBIAN = Path("/usr/lib/postgresql")
ROLE = "limbtier"


class PostgresqlMissing(Exception):
    """There is no PostgreSQL on this machine, or it cannot be started here."""


class Server:
    """A running server. `run` calls one of its programs."""

    def __init__(self, programs: Path, folder: Path, user: str | None) -> None:
        self._programs = programs
        self._user = user
        self.folder = folder
        self._made = 0
        self._free: list[str] = []

    def run(self, program: str, *arguments: str) -> None:
        """Run a program of PostgreSQL's as the server's own user. Raises PostgresqlMissing when it fails."""
        done = subprocess.run(
            [str(self._programs / program), *arguments],
            user=self._user,
            group=None if self._user is None else pwd.getpwnam(self._user).pw_gid,
            extra_groups=None if self._user is None else [],
            env={"PATH": os.defpath, "LC_ALL": "C"},
            cwd=self.folder,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        if done.returncode:
            raise PostgresqlMissing(f"{program} failed: {(done.stderr or done.stdout).strip()[-400:]}")

    def new_database(self) -> str:
        """Return the address of an empty database."""
        if self._free:
            return self._free.pop()
        self._made += 1
        name = f"limbtier_{self._made}"
        self.run("createdb", "--host", str(self.folder), "--username", ROLE, name)
        return f"postgresql://{ROLE}@/{name}?host={self.folder}"

    def empty(self, address: str) -> None:
        """Take everything out of a database that is no longer used, for somebody else. Making one anew takes
        longer than most tests."""
        name = address.partition("@/")[2].partition("?")[0]
        again = "SET client_min_messages = error; DROP SCHEMA public CASCADE; CREATE SCHEMA public"
        self.run("psql", "--host", str(self.folder), "--username", ROLE, "--quiet", "--command", again, name)
        self._free.append(address)


@contextmanager
def running_server() -> Iterator[Server]:
    """Start a server and stop it again. Raises PostgresqlMissing."""
    programs = _programs()
    folder = Path(tempfile.mkdtemp(prefix="limbtier-pg-"))
    user = _unprivileged_user()
    server = Server(programs, folder, user)
    data = str(folder / "data")
    if user is not None:
        owner = pwd.getpwnam(user)
        os.chown(folder, owner.pw_uid, owner.pw_gid)
    try:
        server.run(
            "initdb", "--pgdata", data, "--username", ROLE, "--auth", "trust", "--encoding", "UTF8",
            "--locale", "C", "--no-sync",
        )  # fmt: skip
        # Not synchronous: these tests end processes of ours, never the server or the machine.
        options = (
            f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off -c max_connections=60"
        )
        server.run(
            "pg_ctl", "start", "--wait", "--pgdata", data, "--log", str(folder / "log"), "--options", options
        )
        try:
            yield server
        finally:
            server.run("pg_ctl", "stop", "--wait", "--pgdata", data, "--mode", "immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _programs() -> Path:
    """The folder of PostgreSQL's programs; Debian keeps them off the search path."""
    found = shutil.which("initdb")
    if found is not None and (Path(found).resolve().parent / "pg_ctl").exists():
        return Path(found).resolve().parent
    folders = sorted(DEBIAN.glob("*/bin"), key=lambda folder: float(folder.parent.name), reverse=True)
    for folder in folders:
        if (folder / "initdb").exists():
            return folder
    raise PostgresqlMissing("initdb was not found; install PostgreSQL (Debian: postgresql)")


def _unprivileged_user() -> str | None:
    """Who runs the server: ourselves, or somebody else where we are root, which PostgreSQL refuses."""
    if os.geteuid() != 0:
        return None
    names = {entry.pw_name for entry in pwd.getpwall()}
    for name in ("postgres", "nobody"):
        if name in names:
            return name
    raise PostgresqlMissing("PostgreSQL does not run as root, and there is no user `postgres` or `nobody`")
