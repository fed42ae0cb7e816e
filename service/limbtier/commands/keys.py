"""The commands `keys add`, `keys list` and `keys revoke`."""

from __future__ import annotations

import argparse
import sys

from limbtier.commands.parts import key_manager


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add them."""
    _key_commands(commands.add_parser("keys", help="add, list and revoke the keys of callers"))


def _key_commands(keys: argparse.ArgumentParser) -> None:
    commands = keys.add_subparsers(required=True, metavar="COMMAND")
    add = commands.add_parser("add", help="make a key and print it, this once")
    add.add_argument("--role", required=True, help="integrator, editor, approver or auditor")
    add.add_argument(
        "--organisation", required=True, metavar="NAME", help="whose decisions it makes and reads"
    )
    add.set_defaults(run=_add_key)
    commands.add_parser("list", help="show all keys, without their secrets").set_defaults(run=_list_keys)
    revoke = commands.add_parser("revoke", help="take a key out of use for good")
    revoke.add_argument("id", metavar="ID", help="the id of the key, as `limbtier keys list` shows it")
    revoke.set_defaults(run=_revoke_key)


def _add_key(options: argparse.Namespace) -> int:
    with key_manager() as manager:
        key, text = manager.add(options.role, options.organisation)
    print(text)
    print(
        f"The key of a new {key.role} of {key.organisation}. It may {' and '.join(sorted(key.scopes))}.\n"
        "It is shown this once and kept nowhere: only a digest of it is. Whoever has it can act as its\n"
        "holder, so hand it over like a password, and revoke it when it may be known to anybody else:\n"
        f"  limbtier keys revoke {key.id}",
        file=sys.stderr,
    )
    return 0


def _list_keys(_options: argparse.Namespace) -> int:
    rows = [("id", "organisation", "role", "may", "added", "revoked")]
    with key_manager() as manager:
        keys = manager.all()
    for key in keys:
        revoked = "" if key.revoked_at is None else f"{key.revoked_at:%Y-%m-%d}"
        scopes = " ".join(sorted(key.scopes))
        rows.append((key.id, key.organisation, key.role, scopes, f"{key.added_at:%Y-%m-%d}", revoked))
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        print("  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip())
    return 0


def _revoke_key(options: argparse.Namespace) -> int:
    with key_manager() as manager:
        key = manager.revoke(options.id)
    print(f"Revoked {key.id}, {key.role} of {key.organisation}. A running service refuses it within seconds.")
    return 0
