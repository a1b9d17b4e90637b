"""``exitlane start``: score a film before your eyes, then serve the page."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gait import places
from gait.cli.port import USUAL_PORT, network_addresses, page_port
from gait.environment import CLOSED_PORT
from gait.errors import GaitError

if TYPE_CHECKING:
    from gait.herd.records import Clip
    from gait.store import Store

DEMO_FARM, OWN_FARM = "demo_farm", "farm"
LARGEST_UPLOAD_MB = 2000
THIS_COMPUTER = ("127.0.0.1", "localhost", "::1")


def add_commands(commands: Any) -> None:
    """Add ``start`` to the parser."""
    parser = commands.add_parser(
        "start",
        help="score the demo film or your own, then serve the page",
        description="With no film: makes an invented demo farm, scores its exit-lane film and "
        "serves the page. With your own films or photos: scores those into your own farm folder.",
    )
    parser.add_argument(
        "films", nargs="*", type=Path, metavar="FILM", help="films, photos, folders"
    )
    parser.add_argument("--no-page", action="store_true", help="stop after the table of passes")
    parser.add_argument("--page-only", action="store_true", help="serve the page, score nothing")
    parser.add_argument("--farm", type=Path, metavar="FOLDER", help="farm folder")
    parser.add_argument(
        "--port", type=int, help=f"{USUAL_PORT} or the next free one if left out", metavar="NUMBER"
    )
    parser.add_argument(
        "--address",
        default="127.0.0.1",
        help="127.0.0.1 is this computer only; another address opens the page to the network and "
        "asks everybody to sign in",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make the farm, score, print the table, serve the page."""
    demo = args.farm is None and not args.films and not args.page_only
    farm = (args.farm or Path(DEMO_FARM if demo else OWN_FARM)).resolve()
    farm.mkdir(parents=True, exist_ok=True)
    scored = 0 if args.page_only else score_into(farm, args.films or [make_demo(farm)])
    if args.no_page:
        return 0 if scored or args.page_only else 2
    return serve(farm, args.address, args.port)


def make_demo(farm: Path) -> Path:
    """Make the invented farm and its film, once; return the film."""
    places.add_bundle_to_path()
    from rich.progress import Progress

    from gait.store import open_store
    from synthetic_clips import demo_farm

    film = farm / "exit_lane.mp4"
    if film.exists():
        return film
    drawing = farm / "drawing"
    drawing.mkdir(exist_ok=True)
    with Progress(transient=True) as bar:
        task = bar.add_task("Making the invented demo farm and its film", total=1.0)
        with open_store(farm) as store:
            if not store.cows.all():
                demo_farm.load(store)
        demo_farm.draw_film(
            drawing / film.name, on_progress=lambda share: bar.update(task, completed=share)
        )
    for finished in sorted(
        drawing.iterdir()
    ):  # the list first, the film last: it tells all is there
        finished.replace(farm / finished.name)
    drawing.rmdir()
    return film


def score_into(farm: Path, paths: list[Path]) -> int:
    """Score films into a farm, print the table of passes; return how many can be judged.

    A film that the farm has already is not watched again.
    """
    from gait.pipeline import find_clips
    from gait.store import open_store

    with open_store(farm) as store:
        new, filed = [], []
        for path in find_clips(paths):
            known = _filed_before(store, path)
            if known is None:
                new.append(path)
            else:
                filed.append(known)
                print(f"{path.name} was watched before and is on this farm.")
        return print_table(store, filed + (_watch(store, new) if new else []))


def _filed_before(store: Store, path: Path) -> Clip | None:
    from gait.clip import content_hash

    try:
        clip = store.clips.by_sha256(content_hash(path))
    except GaitError:  # watching it tells what is wrong with it
        return None
    return clip if clip and store.passes.of_clip(clip.clip_id) else None


def _watch(store: Store, clips: list[Path]) -> list[Clip]:
    """Score and file films with a progress bar; return those that could be filed."""
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

    from gait.bulk import score_clips
    from gait.filing import file_report

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        TimeElapsedColumn(),
    )
    filed: list[Clip] = []
    with Progress(*columns) as bar:
        task = bar.add_task("Watching", total=len(clips))
        done = 0

        def tell(clip: Path, share: float) -> None:
            bar.update(task, completed=done + share, description=f"Watching {clip.name}")

        def say(path: Path, sentence: object) -> None:
            bar.console.print(f"{path.name}: {sentence}", highlight=False)

        for path, outcome in score_clips(clips, on_progress=tell):
            done += 1
            bar.update(task, completed=done)
            if isinstance(outcome, GaitError):
                say(path, outcome)
                continue
            for problem in outcome.problems:
                say(path, problem)
            bar.update(task, description=f"Filing {path.name}")
            try:
                file_report(store, outcome, exit_order=_exit_order(path))
            except GaitError as problem:
                say(path, problem)
            if clip := store.clips.by_sha256(outcome.info.sha256):
                filed.append(clip)
    return filed


def print_table(store: Store, clips: list[Clip]) -> int:
    """Print passes with cow, score, confidence and the strongest reason.

    Returns
    -------
    int
        How many of them can be judged.
    """
    from rich.console import Console
    from rich.table import Table

    table = Table(title="Passes", title_justify="left")
    for name in ("clip", "pass", "cow", "score", "sure", "plausible", "strongest reason"):
        table.add_column(name, overflow="fold")
    usable = 0
    for clip in clips:
        for one in sorted(store.passes.of_clip(clip.clip_id), key=lambda p: p.pass_id):
            kept = store.passes.get(one.pass_id)
            usable += one.usable
            head = (clip.name, str(kept.number), one.cow or "not named")
            if one.proposed is None or kept.proposal is None:
                table.add_row(*head, "-", "-", "-", " ".join(kept.problems[:1]) or "no score")
                continue
            sure, run = f"{one.confidence:.0%}", f"{one.low}-{one.high}"
            table.add_row(*head, str(one.proposed), sure, run, kept.proposal["reasons"][0])
    Console(width=None if sys.stdout.isatty() else 140).print(table)
    return usable


def serve(farm: Path, address: str, wanted: int | None) -> int:
    """Serve the page until stopped; nothing is sent to anybody."""
    import signal
    import subprocess

    port = page_port(address, wanted)
    if wanted is None and port != USUAL_PORT:
        print(f"\nPort {USUAL_PORT} is in use, perhaps by the page of another farm.", flush=True)
    script = places.root() / "app" / "main.py"
    settings = {
        "server.address": address,
        "server.port": str(port),
        "server.headless": "true",
        "server.maxUploadSize": str(LARGEST_UPLOAD_MB),
        "server.enableStaticServing": "false",
        "server.fileWatcherType": "none",
        "browser.gatherUsageStats": "false",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": "false",  # they would carry the error to outside services
        "client.toolbarMode": "minimal",
        "theme.base": "light",
        "theme.primaryColor": "#1f4e79",
        "theme.backgroundColor": "#fbfaf7",
        "theme.secondaryBackgroundColor": "#efece4",
        "theme.textColor": "#1d2a3a",
    }
    flags = [f"--{name}={value}" for name, value in settings.items()]
    is_local = address in THIS_COMPUTER
    # a strange site must not reach the page under a name of its own that leads to this computer;
    # opened to the network, the page is known by names that cannot be told here, but asks for a PIN
    flags += [f"--server.allowedHosts={name}" for name in THIS_COMPUTER] if is_local else []
    surroundings = {
        # scoring has closed this process's own way out, which the page may need for sign-in
        **{name: value for name, value in os.environ.items() if value != CLOSED_PORT},
        **_way_out(),
        "EXITLANE_FARM": str(farm),
        "EXITLANE_OPEN_TO_NETWORK": "" if is_local else "1",
        "PYTHONPATH": os.pathsep.join(
            [str(places.root()), str(Path(__file__).resolve().parents[2])]
        ),
    }
    print(f"\n{where(address, port)}", flush=True)
    command = [sys.executable, "-m", "streamlit", "run", str(script), *flags]
    page = subprocess.Popen(command, env=surroundings, stdout=subprocess.DEVNULL)
    before = signal.signal(signal.SIGTERM, lambda *_: page.terminate())
    try:
        return page.wait()
    except KeyboardInterrupt:
        page.terminate()
        page.wait()
        return 0
    finally:
        signal.signal(signal.SIGTERM, before)


def where(address: str, port: int) -> str:
    """Return the lines that tell where the page is, with addresses that can be opened."""
    stop = "(stop it with Ctrl-C)"
    if address in THIS_COMPUTER:
        return f"The page is at http://{address}:{port}   {stop}"
    found = network_addresses(address)
    if address in found:
        return f"The page is at http://{address}:{port}   {stop}\nEverybody signs in with a PIN."
    phones = " or ".join(f"http://{own}:{port}" for own in found)
    return (
        f"On this computer: http://127.0.0.1:{port}   {stop}\n"
        f"On phones in the same network: {phones or 'not yet: this computer has no network'}\n"
        "Everybody signs in with a PIN; the first one is chosen on this computer."
    )


def _way_out() -> dict[str, str]:
    """Close the page's way out, unless the farm has set up sign-in by an outside service.

    Asked by a strange site, Streamlit would look up this computer's outside address.
    """
    secrets = (folder / ".streamlit" / "secrets.toml" for folder in (Path.cwd(), Path.home()))
    if any(file.exists() for file in secrets):
        return {}
    names = ("http_proxy", "https_proxy", "all_proxy")
    return {n: CLOSED_PORT for name in names for n in (name, name.upper())}


def _exit_order(film: Path) -> Path | None:
    """Return the exit-order list lying beside a film under the same name, if there is one."""
    beside = film.with_suffix(".csv")
    return beside if beside.is_file() else None
