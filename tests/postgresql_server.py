"""A throw-away PostgreSQL server in a temporary folder, on loopback.

Also as a script: ``python tests/postgresql_server.py`` starts one and prints its URL.
PostgreSQL refuses to run as root: then it runs as the system's ``postgres`` user, who owns the folder.
"""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NO_SERVER = "no PostgreSQL server"


def programs() -> Path | None:
    """Where initdb lies: on the path, or where Debian puts the newest version."""
    found = shutil.which("initdb")
    if found:
        return Path(found).parent
    versions = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: float(p.parts[-3]))
    return versions[-1].parent if versions else None


def why_not() -> str | None:
    """Why no server can be started here; None if one can."""
    if programs() is None:
        return f"{NO_SERVER}: initdb is not installed (apt-get install postgresql)"
    if os.geteuid() == 0:
        try:
            pwd.getpwnam("postgres")
        except KeyError:
            return f"{NO_SERVER}: this is root, and there is no user postgres to run it as"
    return None


@contextmanager
def server() -> Iterator[str]:
    """Start a server; its URL, with an empty database."""
    reason = why_not()
    place = programs()
    if reason or place is None:
        raise RuntimeError(reason)
    folder = Path(tempfile.mkdtemp(prefix="strumclock-pg-", dir="/tmp"))
    user = "postgres" if os.geteuid() == 0 else None
    identity = {}
    if user:
        entry = pwd.getpwnam(user)
        os.chown(folder, entry.pw_uid, entry.pw_gid)
        identity = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
    data, port = folder / "data", _free_port()

    def run(*command: str) -> None:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, **identity)
        if done.returncode:
            raise RuntimeError(f"{NO_SERVER}: {command[0]} said {done.stderr.strip() or done.stdout.strip()}")

    try:
        run(str(place / "initdb"), "-D", str(data), "-U", "strum", "-A", "trust", "-E", "UTF8", "--no-sync")
        options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        run(str(place / "pg_ctl"), "-D", str(data), "-w", "-l", str(folder / "log"), "-o", options, "start")
        try:
            yield f"postgresql://strum@127.0.0.1:{port}/postgres"
        finally:
            run(str(place / "pg_ctl"), "-D", str(data), "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


if __name__ == "__main__":
    problem = why_not()
    if problem:
        sys.exit(problem)
    with server() as url:
        print(url, flush=True)
        input("Enter stops it. ")
