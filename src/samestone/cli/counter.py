"""`serve`, `demo`, `check`, `backup`: the counter in the browser, and what keeps its data safe."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import Any

from samestone.cli import Refusal

PORT = 8420


def add_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The four commands of the counter; nothing heavy is imported until one of them runs."""
    serve = commands.add_parser("serve", help="open the counter in the browser")
    serve.set_defaults(run=run_serve)

    demo = commands.add_parser("demo", help="play one invented job from take-in to pick-up")
    demo.add_argument("--serve", action="store_true", help="open the counter afterwards")
    demo.set_defaults(run=run_demo)

    check = commands.add_parser("check", help="compare tables, log and vault")
    check.add_argument(
        "--receipt", action="append", default=[], help="a receipt to hold the log against (printed or QR)"
    )
    check.set_defaults(run=run_check)

    backup = commands.add_parser("backup", help="make a consistent copy of the data, also while serving")
    backup.add_argument("folder", type=Path, help="a new folder for the copy")
    backup.add_argument("--without-key", action="store_true", help="leave the signing key out (keep it elsewhere!)")
    backup.set_defaults(run=run_backup)

    for command in (serve, demo):
        command.add_argument("--port", type=int, default=PORT, help=f"where to listen (default {PORT})")
        command.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this machine only)")
    for command in (serve, demo, check, backup):
        command.add_argument("--data", type=Path, help="the data folder (default: SAMESTONE_DATA or ~/Samestone)")


def run_serve(arguments: argparse.Namespace) -> int:
    """Serves until stopped."""
    _refuse_taken_port(arguments.host, arguments.port)
    data = open_data(arguments.data)
    print(f"Samestone keeps its data in {data}")
    return _serve(arguments)


def _refuse_taken_port(host: str, port: int) -> None:
    """Says before anything else that someone listens there already, or that the address is not this machine's."""
    import socket

    if not 0 < port < 65536:
        raise Refusal(f"--port: found {port}; expected a number from 1 to 65535, such as {PORT}")
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except (OSError, UnicodeError) as error:
            why = getattr(error, "strerror", "") or "not an address"
            raise Refusal(
                f"--port: cannot listen on {host}:{port} ({why}); stop what listens there, or name another port: "
                f"--port {port + 1}"
            ) from error


def run_demo(arguments: argparse.Namespace) -> int:
    """Plays the demo job; with `--serve` the counter stays open."""
    if arguments.serve:
        _refuse_taken_port(arguments.host, arguments.port)
    open_data(arguments.data)
    from django.utils import timezone

    from samestone.shop.site.demo import NotADemo, play_demo

    try:
        play_demo(now=timezone.now(), say=lambda line: print(line, flush=True))
    except NotADemo as error:
        raise Refusal(f"--data: {error}") from error
    return _serve(arguments) if arguments.serve else 0


def run_check(arguments: argparse.Namespace) -> int:
    """0 when everything fits, 1 when something does not."""
    data = open_data(arguments.data, existing=True)
    from samestone import custody
    from samestone.shop import audit
    from samestone.shop.models import Entry, Job

    try:
        problems = audit.check_shop(arguments.receipt)
    except custody.receipt.BadReceipt as error:
        raise Refusal(f"--receipt: {error}") from error
    for problem in problems:
        print(f"{'✗' if problem.breaks else '·'} {problem.where}: {problem.says}")
    broken = sum(problem.breaks for problem in problems)
    held = f"{Entry.objects.count()} entries, {Job.objects.count()} jobs in {data}"
    print(f"✗ {broken} thing(s) do not fit: {held}" if broken else f"✓ tables, log and vault fit together: {held}")
    return 1 if broken else 0


def run_backup(arguments: argparse.Namespace) -> int:
    """Copies the data folder; `samestone check --data COPY` must pass on the copy."""
    open_data(arguments.data, existing=True)
    from samestone.shop.site.backup import BackupRefused, copy_shop

    try:
        done = copy_shop(arguments.folder, with_key=not arguments.without_key)
    except BackupRefused as error:
        raise Refusal(str(error)) from error
    print(f"✓ copied {done.entries} entries and {done.files} files to {arguments.folder}")
    print("  the signing key is " + ("in it: keep the copy locked away" if done.with_key else "NOT in it"))
    return 0


def open_data(folder: Path | None, *, existing: bool = False) -> Path:
    """Names the data folder to Django; makes what is missing in it, unless it must exist and stay as it is."""
    from samestone.shop.folder import data_folder, make_folder

    if folder is not None:
        os.environ["SAMESTONE_DATA"] = str(folder)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "samestone.shop.site.settings")
    data = data_folder()
    if existing and not ((data / "db.sqlite3").exists() or os.environ.get("SAMESTONE_DATABASE")):
        raise Refusal(f"--data: found no shop in {data}; expected a folder that `samestone serve` or `demo` has made")
    if not existing:
        try:
            make_folder(data)
        except OSError as error:
            raise Refusal(f"--data: cannot use {data} ({error.strerror}); name a folder you may write to") from error
    import django

    django.setup()
    from samestone.shop.site.tables import are_up_to_date, bring_up_to_date

    if not existing:
        bring_up_to_date()
    elif not are_up_to_date():
        raise Refusal(f"--data: the tables in {data} are of another version; run `samestone serve` on them once")
    return data


def _serve(arguments: argparse.Namespace) -> int:
    from granian import Granian
    from granian.constants import Interfaces
    from granian.log import LogLevels

    options: dict[str, Any] = {"address": arguments.host, "port": arguments.port, "workers": 1, "blocking_threads": 4}
    server = Granian(
        "samestone.shop.site.wsgi:application",
        interface=Interfaces.WSGI,
        log_level=LogLevels.warning,
        log_access=False,
        **options,
    )
    print(f"The counter is open at http://{arguments.host}:{arguments.port} (stop with Ctrl-C)", flush=True)
    server.serve()
    return 0
