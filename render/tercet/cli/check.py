"""``tercet check``: what is wrong with a song, and what its players should know."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tercet.cli.options import ARRANGING, add_options, play_options
from tercet.cli.talk import put, put_json, say, say_event
from tercet.errors import RequestError, SongError, TercetError
from tercet.wording import counted

if TYPE_CHECKING:
    from tercet.arranging import Arrangement
    from tercet.arranging.report import Change, HighFret, LineReport, Masked, Report, StyleUse, WideHand
    from tercet.kit import PlayOptions
    from tercet.performing import Covered
    from tercet.song import ClassFile

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "check"
HELP = "find mistakes in songs and say what the players should know"
DESCRIPTION = (
    "Read songs and report every mistake, where it is and how to fix it; then what the hands do, line by line, the "
    "hard places, and what can't be done as written, in the song's own key and tuning or in others. A class file "
    "beside the songs is read too. Exit code 1 when a file has mistakes, or no string has a note that stays as written."
)

HARDEST_SHOWN = 3


class _Schemas(argparse.Action):
    """Prints where the schemas lie, and ends the command: no song is needed for it."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from tercet.song.settings import SCHEMA_FILES, schema_path

        for what, name in SCHEMA_FILES.items():
            put(f"{what}: {schema_path(name)}")
        parser.exit()


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "songs")
    parser.add_argument("--tab", action="store_true", help="show the arrangement as a tab of four lines, too")
    parser.add_argument(
        "--picture",
        metavar="FILE",
        help="draw a take of the song, what is loud in front and what is soft behind: .svg or .png",
    )
    parser.add_argument("--json", action="store_true", help="print the report as JSON, for programs")
    parser.add_argument(
        "--schema",
        action=_Schemas,
        nargs=0,
        help="print where the JSON Schemas of song and class files lie, for your editor",
    )
    add_options(parser, *ARRANGING, "--replace")


def run(arguments: argparse.Namespace) -> int:
    """Check each song; the exit code is the worst of all."""
    from tercet.song.class_file import is_class_file

    picture = _picture_path(arguments)
    options = play_options(arguments)
    show = not arguments.json
    classes, class_reports = _classes(arguments.songs, show=show)
    reports = [
        _report(path, classes.get(path), options, arguments, picture)
        for path in arguments.songs
        if not is_class_file(path)
    ]
    reports += class_reports
    if arguments.json:
        put_json([report for report, _ in reports])
    return max(code for _, code in reports)


def _classes(
    paths: Sequence[str], *, show: bool
) -> tuple[dict[str, ClassFile], list[tuple[dict[str, Any], int]]]:
    """Read the class files that are named or lie beside the songs, each once.

    Returns
    -------
    classes, reports
        The class of each path, where one could be read; and of each class file what there is to say, and its exit code.
    """
    from tercet.song import read_class
    from tercet.song.class_file import class_path, is_class_file

    files: dict[Path, ClassFile] = {}
    reports: list[tuple[dict[str, Any], int]] = []
    for path in dict.fromkeys(
        class_path(path)
        for path in paths
        if is_class_file(path) or os.path.isfile(class_path(path))  # noqa: PTH113 - no error where we may not look
    ):
        try:
            files[path] = read_class(path)
        except TercetError as error:
            reports.append(_refused(str(path), error, show=show))
            continue
        reports.append(({"file": str(path), "mistakes": [], "class": files[path].name}, 0))
        if show:
            put(f"{path}: {files[path].name or 'the class'}, no mistakes")
    return {path: files[class_path(path)] for path in paths if class_path(path) in files}, reports


def _refused(path: str, error: TercetError, *, show: bool) -> tuple[dict[str, Any], int]:
    """Return what there is to say about a file that can't be read, and its exit code; say it too where wanted."""
    if show:
        say(str(error))
    if not isinstance(error, SongError):
        return {"file": path, "error": str(error)}, error.exit_code
    return {"file": path, "mistakes": [each.as_json() for each in error.mistakes]}, error.exit_code


def _unfit_tracks(class_file: ClassFile, arrangement: Arrangement) -> list[str]:
    """Return a sentence for each track of the class that can't be made of a song."""
    from tercet.song.own_tracks import missing_places

    own = {track.name for track in arrangement.song.tracks}
    return [
        f"the class's track {track.name} isn't for this song: {setting}: {message}"
        for track in class_file.tracks
        if track.name not in own
        for setting, message in missing_places(track, arrangement.bars)[:1]
    ]


def _picture_path(arguments: argparse.Namespace) -> Path | None:
    """Return where the picture goes, if one is asked for; refuse what can't be done before any song is read."""
    if arguments.picture is None:
        return None
    from tercet.made_files import check_may_make
    from tercet.publish import picture_maker

    path = Path(arguments.picture)
    if len(arguments.songs) > 1:
        raise RequestError(
            f"--picture draws one song, and {len(arguments.songs)} are given: "
            f"call tercet check once for each, with a FILE of its own"
        )
    picture_maker(path)
    check_may_make(path, replace=arguments.replace)
    return path


def _draw(path: Path, arrangement: Arrangement, *, replace: bool) -> None:
    """Write the picture of a take as it sounds without options: full speed, from the first bar."""
    from tercet.made_files import write_made
    from tercet.performing import lay_out, perform
    from tercet.publish import picture_maker
    from tercet.publish.pictures import take_picture

    take = perform(arrangement, lay_out(arrangement, count_in_bars=0))
    picture = picture_maker(path)(take_picture(take, arrangement))
    write_made(path, picture, maker=NAME, replace=replace)


def _report(
    path: str,
    class_file: ClassFile | None,
    options: PlayOptions,
    arguments: argparse.Namespace,
    picture: Path | None,
) -> tuple[dict[str, Any], int]:
    """Return what there is to say about one song of a class, and its exit code; print it too where wanted."""
    from tercet.kit.ready import arranged
    from tercet.song import read_song
    from tercet.song.class_file import in_class

    show = not arguments.json
    try:
        arrangement = arranged(in_class(read_song(path), class_file), options, say_event)
    except TercetError as error:
        return _refused(path, error, show=show)
    from tercet.arranging.report import as_json, report_of
    from tercet.arranging.tab import tab_text
    from tercet.performing import covered_notes, lay_out, perform

    report = report_of(arrangement)
    covered = covered_notes(perform(arrangement, lay_out(arrangement)))
    facts = {"file": path, "mistakes": [], **_summary(arrangement), "report": as_json(report)}
    second = _second_facts(arrangement)
    facts |= second
    facts["covered"] = [_covered_facts(each, arrangement) for each in covered]
    if class_file is not None:
        facts["unfit_tracks"] = _unfit_tracks(class_file, arrangement)
    if arguments.tab:
        facts["tab"] = tab_text(arrangement) + _second_tab(arrangement)
    if picture is not None:
        _draw(picture, arrangement, replace=arguments.replace)
        facts["picture"] = str(picture)
    if show:
        _print(path, arrangement, report, **second)
        for each in facts["covered"]:
            put(
                f"  bar {each['bar']} ({each['section']}): the tune's {each['note']} doesn't stand clear of "
                f"{', '.join(each['by'])}; remedy: --clear lowers just those"
            )
        for sentence in facts.get("unfit_tracks", ()):
            put(f"  {sentence}")
        if arguments.tab:
            put()
            put(facts["tab"], end="")
        if picture is not None:
            put(picture)
    unplayable = any(problem.unplayable for problem in arrangement.problems)
    return facts, int(unplayable)


def _second_facts(arrangement: Arrangement) -> dict[str, Any]:
    """Return what there is to say of a second voice, if there is one: its notes, and where it is hardest."""
    if not arrangement.second:
        return {}
    from tercet.arranging import second_part
    from tercet.arranging.report import as_json, report_of

    report = as_json(report_of(second_part(arrangement)))
    hardest = {name: report[name] for name in ("fastest_change", "highest_fret")}
    return {"second": {"voice": arrangement.song.second, "notes": len(arrangement.second), **hardest}}


def _second_tab(arrangement: Arrangement) -> str:
    """Return the tab of a second voice, to stand under that of the song; empty without one."""
    from tercet.arranging import second_part
    from tercet.arranging.tab import tab_text

    return f"\nsecond voice\n\n{tab_text(second_part(arrangement))}" if arrangement.second else ""


def _print_second(voice: str, notes: int, fastest_change: Any, highest_fret: Any) -> None:
    """Print a second voice in a line."""
    parts = [counted(notes, "single note")]
    if highest_fret:
        parts.append(f"up to fret {highest_fret['fret']}")
    if fastest_change:
        time_s = fastest_change["time_ms"] / 1000
        parts.append(f"at the fastest {counted(fastest_change['fingers'], 'finger')} in {time_s:.2f} s")
    put(f"  second voice, {voice}: {', '.join(parts)}")


def _covered_facts(covered: Covered, arrangement: Arrangement) -> dict[str, Any]:
    """Return what there is to say about a note of the tune that the background covers."""
    from tercet.theory import spell

    key, note = arrangement.song.key, covered.note
    return {
        "bar": arrangement.bars[note.bar_index].number,
        "section": note.section,
        "note": str(spell(note.midi, key)),
        "margin_db": round(covered.margin_db, 1),
        "by": [f"{spell(other.midi, key)} ({other.layer}, string {other.string})" for other in covered.by],
    }


def _summary(arrangement: Arrangement) -> dict[str, Any]:
    from tercet.song import played_visits

    song = arrangement.song
    gestures = arrangement.gestures
    return {
        "title": song.title,
        "key": str(song.key),
        "meter": str(song.meter),
        "tuning": arrangement.tuning.name,
        "form": [visit.section for visit in played_visits(arrangement.bars)],
        "bars": len(arrangement.bars),
        "rolls": sum(gesture.action == "roll" for gesture in gestures),
        "single_notes": sum(gesture.action == "single" for gesture in gestures),
        "strums": sum(gesture.layer == "strums" for gesture in gestures),
        "problems": [
            {
                "bar": problem.bar_number,
                "section": problem.section,
                "line": problem.line,
                "column": problem.column,
                "message": problem.message,
                "remedy": problem.remedy,
                "unplayable": problem.unplayable,
                "off_neck": problem.off_neck,
            }
            for problem in arrangement.problems
        ],
    }


def _print(path: str, arrangement: Arrangement, report: Report, second: dict[str, Any] | None = None) -> None:
    facts = _summary(arrangement)
    put(f"{path}: {facts['title']}, no mistakes")
    bars = counted(facts["bars"], "bar")
    put(f"  {facts['key']}, {facts['meter']}, {facts['tuning']}, {bars}: {' '.join(facts['form'])}")
    totals = report.totals
    put(f"  {_strokes_text(totals.rolls, totals.singles, totals.strums)}")
    for line in report.lines:
        _print_line(line)
    if second is not None:
        _print_second(**second)
    first = {(use.section, use.style): use for use in reversed(report.styles)}
    for use in reversed(first.values()):
        put(f"  {_style_text(use)}")
    put("  hard places")
    for name, text in _hard_places(report):
        put(f"    {name:<16}{text}")
    for problem in arrangement.problems:
        place = f"line {problem.line}, " if problem.line else ""
        put(f"  bar {problem.bar_number} ({place}{problem.section}): {problem.message}")
        if problem.remedy:
            put(f"      remedy: {problem.remedy}")


def _style_text(use: StyleUse) -> str:
    """Return what comes of a style in the first playing of a section that has it."""
    place = use.section if use.pass_number == 1 else f"{use.section}, pass {use.pass_number}"
    told = {
        "ringing": f", {use.different_strings:.0%} of the tune's notes change the string",
        "broken": f", {counted(use.behind, 'string')} struck behind the tune",
    }
    return f"{place}: {use.style}{told.get(use.style, '')}"


def _print_line(line: LineReport) -> None:
    """Print one line of music, a row for each bar: shape, fingers in brackets, strokes as pins are written."""
    one = line.first_bar == line.last_bar
    bars = f"bar {line.first_bar}" if one else f"bars {line.first_bar} to {line.last_bar}"
    strokes = _strokes_text(line.rolls, line.singles, line.strums)
    put(f"  {line.section}, line {line.line}, {bars}: {strokes}")
    for number, uses in groupby(line.hands, key=lambda use: use.bar_number):
        hands = (
            f"{use.shape}{f' ({use.fingers})' if use.fingers else ''} {' '.join(use.strokes)}" for use in uses
        )
        put(f"    {number:>3}  {'   '.join(hands)}")


def _strokes_text(rolls: int, singles: int, strums: int) -> str:
    return f"{counted(rolls, 'roll')}, {counted(singles, 'single note')}, {counted(strums, 'strum')}"


def _hard_places(report: Report) -> Iterator[tuple[str, str]]:
    """Yield what is hardest, a name and a text each."""
    places: dict[str, Iterable[WideHand | Change | HighFret | Masked | None]] = {
        "widest stretch": [report.widest_stretch],
        "fastest change": [report.fastest_change],
        "rushed changes": report.hasty_changes,
        "highest fret": [report.highest_fret],
        "masked": report.masked,
    }
    for name, found in places.items():
        for text in _with_bars(filter(None, found)):
            yield name, text
    yield "hardest bars", ", ".join(_hardest(report))
    totals = report.totals
    sums = (
        f"{totals.audible_rolls:.0%} of the rolls bring the tune out",
        counted(totals.shapes, "shape"),
        f"the hand moves {totals.shift_per_bar:.2f} frets a bar",
    )
    yield "in all", "; ".join(sums)


def _with_bars(found: Iterable[WideHand | Change | HighFret | Masked]) -> Iterator[str]:
    """Yield what is said of bars, alike things once, with all their bars."""
    bars: dict[str, list[str]] = {}
    for each in found:
        bars.setdefault(str(each), []).append(f"{each.bar_number} ({each.section})")
    for text, where in bars.items():
        yield f"{text}: {'bars' if len(where) > 1 else 'bar'} {', '.join(where)}"


def _hardest(report: Report) -> list[str]:
    """Return the hardest bars, each place of a section once."""
    return [
        f"{bar.bar_number} ({bar.section}, {bar.cost:.1f})" for bar in report.hardest_places[:HARDEST_SHOWN]
    ]
