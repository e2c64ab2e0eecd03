"""The command line: ``python -m field_client sign-in | sync | take | send | results | queue | …``.

FIELD_URL says where the service is, FIELD_TOKEN who asks (else whoever signed in), FIELD_FILE
where the device keeps its data (field.sqlite3 where nothing is given).
"""

from __future__ import annotations

import argparse
import getpass
import json
import os
import platform
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from . import exchange, signing_in, taking, words
from .service import Service, Trouble
from .store import Store

LATEST = 20


def main(arguments: Sequence[str] | None = None) -> int:
    """Do one command; return 0 where nothing is left to do for a person."""
    options = _parser().parse_args(arguments)
    store = Store(os.environ.get("FIELD_FILE", "field.sqlite3"))
    try:
        return int(options.command(options, store) or 0)
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 1
    except (KeyboardInterrupt, EOFError):
        print("\nStopped; what was kept is kept.", file=sys.stderr)
        return 1
    finally:
        store.close()


def _sign_in(options: argparse.Namespace, store: Store) -> None:
    service = Service(_url(), "", patience_s=options.patience)
    label = f"field client on {platform.node()}"[:100]
    secret = signing_in.signed_in(service, input, getpass.getpass, label=label)
    store.keep_token(service.url, secret)
    print("Signed in; the token is kept on this device.")


def _sync(options: argparse.Namespace, store: Store) -> None:
    for resource, count in exchange.sync(
        _service(options, store), store, whole=options.all
    ).items():
        print(f"{resource}: {count} came, {len(store.reference(resource))} here")


def _take(options: argparse.Namespace, store: Store) -> None:
    content = _read(options.file) if options.file else taking.taken(options, store, input)
    print(f"Kept as {words.short(store.take(content))}; send when there is a signal.")


def _change(options: argparse.Namespace, store: Store) -> None:
    is_correction = store.change(_named(options.id, store), _read(options.file), options.reason)
    print("Kept as a correction: it was under way already." if is_correction else "Changed.")


def _send(options: argparse.Namespace, store: Store) -> int:
    exchange.send(_service(options, store), store)
    return _queue(options, store)


def _results(options: argparse.Namespace, store: Store) -> None:
    def show(traverse: str, body: dict[str, Any]) -> None:
        text = words.of_result(body["result"]) if "result" in body else words.of_problem(body)
        print(f"{words.short(traverse)}  {_label(body.get('as_sent', {}), store)}")
        print("    " + text.replace("\n", "\n    "))

    traverses = [_named(options.id, store)] if options.id else list(store.sent())[-LATEST:]
    exchange.follow_results(_service(options, store), traverses, show, patience_s=options.patience)


def _queue(options: argparse.Namespace, store: Store) -> int:
    items = store.items()
    for item in items:
        kind = "traverse" if item.reason is None else "correction"
        label = _label(item.content, store)
        print(f"{words.short(item.traverse)}  {item.state:8}{kind:11}{label}")
        if item.problem:
            said = words.of_parked(item.content, item.problem)
            print("    " + said.replace("\n", "\n    "))
    if not items:
        print("The queue is empty: all that was taken here is stored.")
    return int(bool(items))


def _show(options: argparse.Namespace, store: Store) -> None:
    traverse = _named(options.id, store)
    waiting = [item.content for item in store.items() if item.traverse == traverse]
    print(json.dumps((waiting or [store.sent()[traverse]])[-1], indent=2))


def _settle(options: argparse.Namespace, store: Store) -> None:
    traverse = _named(options.id, store)
    parked = [i for i in store.items() if i.traverse == traverse and i.state == "parked"]
    if not parked:
        raise Trouble("Nothing of it is parked, so there is nothing to settle.")
    store.settle(parked[0], options.how)


def _url() -> str:
    url = os.environ.get("FIELD_URL", "")
    if not url.startswith(("http://", "https://")):
        raise Trouble("Set FIELD_URL to the service's address.")
    return url


def _service(options: argparse.Namespace, store: Store) -> Service:
    url = _url()
    token = os.environ.get("FIELD_TOKEN") or store.token(url)
    if not token:
        raise Trouble("Sign in first, or set FIELD_TOKEN to a field app's token.")
    return Service(url, token, patience_s=options.patience)


def _named(beginning: str, store: Store) -> str:
    """Return the id of the one traverse here whose id begins so."""
    known = {*(item.traverse for item in store.items()), *store.sent()}
    found = [traverse for traverse in known if traverse.startswith(beginning)]
    if len(found) != 1:
        raise Trouble(f"{len(found)} traverses here have an id that begins with {beginning!r}.")
    return found[0]


def _label(content: dict[str, Any], store: Store) -> str:
    section = store.reference("duct-sections").get(content.get("duct_section", ""), {})
    return f"{section.get('name', '')} {content.get('stage')} {content.get('taken_at')}".strip()


def _read(file: Path) -> dict[str, Any]:
    try:
        content = json.loads(sys.stdin.read() if str(file) == "-" else file.read_text())
    except (OSError, ValueError) as error:
        raise Trouble(f"{file} can't be read: {error}") from error
    if not isinstance(content, dict):
        raise Trouble(f"{file} should hold one traverse, a JSON object.")
    return content


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="field_client", description=__doc__)
    commands = parser.add_subparsers(required=True, metavar="command")

    def command(name: str, act: Any, description: str) -> argparse.ArgumentParser:
        found = commands.add_parser(name, help=description, description=description)
        found.set_defaults(command=act)
        return found

    def patience(of: argparse.ArgumentParser, seconds: float) -> None:
        of.add_argument("--patience", type=float, default=seconds, help="how long to wait, in s")

    patience(command("sign-in", _sign_in, "get a token for yourself and keep it here"), 60.0)
    sync = command("sync", _sync, "bring sites, systems, sections, instruments and visits here")
    sync.add_argument("--all", action="store_true", help="everything, not only what changed")
    patience(sync, 300.0)
    take = command("take", _take, "keep a traverse; needs no connection")
    take.add_argument("file", nargs="?", type=Path, help="its content as JSON (- is the input)")
    for name in ("visit", "section", "instrument"):
        take.add_argument(f"--{name}", help="by id or part of its name; else it is asked")
    take.add_argument("--stage", default="as_found", choices=("as_found", "as_left", "check"))
    take.add_argument("--call", default="unknown", help="cooling, heating, fan_only, dehumidify")
    take.add_argument("--unit", default="ft/min", help="of the readings")
    for name in taking.CONDITIONS:
        take.add_argument(f"--{name.replace('_', '-')}", help="number and unit, as in '70 degF'")
    take.add_argument("--notes", help="what else to know")
    change = command("change", _change, "change what was taken; a correction once it is under way")
    change.add_argument("id")
    change.add_argument("file", type=Path, help="the whole new content as JSON (- is the input)")
    change.add_argument("--reason", required=True, help="why, in words")
    patience(command("send", _send, "send all that waits"), 300.0)
    results = command("results", _results, "show what the traverses sent from here mean")
    results.add_argument("id", nargs="?", help=f"of one; else of the latest {LATEST}")
    patience(results, 30.0)
    command("queue", _queue, "list what is not stored yet, and why")
    command("show", _show, "print one traverse's content as JSON").add_argument("id")
    settle = command("settle", _settle, "decide about something that was refused")
    settle.add_argument("id")
    settle.add_argument("how", choices=("again", "correct", "new", "drop"))
    return parser


if __name__ == "__main__":
    sys.exit(main())
