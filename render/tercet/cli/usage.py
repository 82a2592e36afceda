"""A command line that can't be understood: told in one sentence, with the command to type instead where that is clear.

The words are looked at before `argparse` gets them. Words of Tercet's own have one spelling: what comes near one is
never taken for it, but asked back, ready to be copied.
"""

from __future__ import annotations

import argparse
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import Any

from tercet.cli.talk import put
from tercet.errors import RequestError
from tercet.missing_files import SONG_ENDINGS, TUNE_ENDINGS, files_in, folder_instead, missing_file
from tercet.printable import visible_line
from tercet.typed import typed
from tercet.wording import counted, did_you_mean, listed, lookalikes

__all__ = ["Parser", "UsageError", "look_at", "meant_words", "plain_words", "with_meant"]

OTHER_COMMANDS = {
    "make": "kit",
    "tracks": "kit",
    "record": "render",
    "play": "render",
    "track": "render",
    "print": "sheet",
    "pdf": "sheet",
    "score": "sheet",
    "handout": "sheet",
    "book": "songbook",
    "bind": "songbook",
    "booklet": "songbook",
    "validate": "check",
    "test": "check",
    "web": "page",
    "website": "page",
    "convert": "import",
    "read": "import",
    "save": "export",
    "create": "new",
    "init": "new",
    "start": "new",
    "neck": "fretboard",
    "fretboards": "fretboard",
    "fonts": "sounds",
    "advice": "advise",
    "key": "advise",
    "keys": "advise",
}
"""What people call the commands."""

EXAMPLE_OUTPUTS = {
    "render": ".mp3",
    "sheet": ".pdf",
    "songbook": ".pdf",
    "fretboard": ".svg",
    "export": ".musicxml",
    "import": ".yaml",
    "kit": "",
    "page": "",
}
"""What is proposed where no file or folder to write is named: the song's name with this ending."""

LONE = ("--list", "--schema")
"""Options that need nothing else."""

_NUMBER = re.compile(r"-\d+(\.\d*)?|-\.\d+")
_NUMBERS = re.compile(r"-\d+\s*,.*")
_DASHES = re.compile(r"^[–—−‐‑‒]+")
_YES_OR_NO = ("yes", "no", "true", "false", "on", "off", "1", "0")


def _is_setting(name: str) -> bool:
    """Return whether a name is that of a setting of songs."""
    from tercet.song.settings import SETTINGS

    return any(setting.name == name for setting in SETTINGS)


class UsageError(RequestError):
    """A command line that can't be understood.

    Parameters
    ----------
    sentence
        What is wrong.
    instead
        The words to type instead, without ``tercet``; empty where they can't be told.
    """

    exit_code = 2

    def __init__(self, sentence: str, instead: Sequence[str] = ()) -> None:
        super().__init__(sentence)
        self.instead = tuple(instead)


class Parser(argparse.ArgumentParser):
    """A parser that knows what it takes; help is fit for a terminal, and wrong usage is raised."""

    def __init__(self, *arguments: Any, **more: Any) -> None:
        self.taken: list[argparse.Action] = []
        self.commands: dict[str, Parser] = {}
        super().__init__(*arguments, **more)

    def add_argument(self, *names: Any, **more: Any) -> argparse.Action:
        """Add an argument, and know it."""
        action = super().add_argument(*names, **more)
        self.taken.append(action)
        return action

    def error(self, message: str) -> Any:
        """Raise what `argparse` finds wrong, where `look_at` let it pass."""
        raise UsageError(f"{visible_line(message)} ({self.prog} --help tells what there is)")

    def _print_message(self, message: str, file: Any = None) -> None:  # noqa: ARG002 - always stdout
        """Print help or the version, as results are."""
        put(message, end="")

    @property
    def words(self) -> list[argparse.Action]:
        """The arguments that stand alone, in their order."""
        return [action for action in self.taken if not action.option_strings]

    def option(self, name: str) -> argparse.Action | None:
        """Return an option by its name, or by the beginning of a long one that is no other's, too."""
        long = name.startswith("--") and len(name) > 2
        found = [action for action in self.taken if name in action.option_strings] or [
            action
            for action in self.taken
            if long and any(each.startswith(name) for each in action.option_strings)
        ]
        return found[0] if len(found) == 1 else None

    @property
    def flags(self) -> list[str]:
        """The names of all options."""
        return [name for action in self.taken for name in action.option_strings]


def plain_words(words: Sequence[str]) -> list[str]:
    """Return what was typed with ``help`` and ``version`` as options, which all people type in their own way."""
    first, *rest = words or [""]
    if first in ("help", "-help", "/?", "-?"):
        return [*rest[:1], "--help"]
    if first in ("version", "-V", "-v", "-version"):
        return ["--version"]
    if rest and rest[0] in ("help", "-help", "/?", "-?") and len(rest) == 1 and not os.path.exists(rest[0]):  # noqa: PTH110
        return [first, "--help"]
    return list(_with_lists(words))


def _with_lists(words: Sequence[str]) -> Iterator[str]:
    """Yield words with a list of numbers that begins with a minus joined to its option, as `argparse` needs it."""
    joined = False
    for word, following in zip_longest(words, words[1:], fillvalue=""):
        takes = word.startswith("--") and len(word) > 2 and "=" not in word and _NUMBERS.fullmatch(following)
        if takes:
            yield f"{word}={following}"
        elif not joined:
            yield word
        joined = bool(takes)


def look_at(words: Sequence[str], parser: Parser) -> None:
    """Raise `UsageError` where the words of a command line can't be understood."""
    if not words:
        raise UsageError(
            f"name a command: {listed(parser.commands, 'or')}; tercet --help tells what each does"
        )
    _check_command(words, parser)
    if words[0] in parser.commands:
        _Line(words[0], list(words), parser).check()


# ---- the command


def _check_command(words: Sequence[str], parser: Parser) -> None:
    """Refuse what begins with no command."""
    first, *rest = words
    if first in parser.commands or parser.option(first) is not None:
        return
    at = next((place for place, word in enumerate(words) if word in parser.commands), None)
    if first.startswith("-") or _DASHES.match(first):
        near = lookalikes(_hyphens(first), parser.flags)
        if at is not None and not near:
            raise UsageError(
                "the command comes first, then its options", [words[at], *words[:at], *words[at + 1 :]]
            )
        raise UsageError(f"tercet has no option {first}{did_you_mean(near)}", near)
    suffix = Path(first).suffix.lower()
    if suffix in TUNE_ENDINGS:
        raise UsageError(
            f"a command comes before {first}; did you mean to import it?",
            ["import", first, *(rest or ["-o", f"{Path(first).stem}.yaml"])],
        )
    if suffix in SONG_ENDINGS or _is_file(first):
        command = "kit" if "-o" in rest else "check"
        why = f"a command comes before {first}, such as check, kit, page or sheet"
        raise UsageError(why, [command, first, *rest])
    other = OTHER_COMMANDS.get(first.casefold())
    near = (other,) if other else lookalikes(first, parser.commands)
    instead = [*near, *rest]
    if not near:
        raise UsageError(f"there is no command {first}; there are {listed(parser.commands)}")
    raise UsageError(f"there is no command {first}{did_you_mean(near)}", instead)


# ---- the words after the command


@dataclass(frozen=True, slots=True)
class _Given:
    """An option that was typed, or a word of its own (which has no action), and where it stands among the words."""

    action: argparse.Action | None
    first: int
    last: int
    value: str = ""


class _Line:
    """The words of one command."""

    def __init__(self, command: str, words: list[str], parser: Parser) -> None:
        self._words, self._root, self._parser = words, parser, parser.commands[command]
        self._command = command
        self._given: list[_Given] = []

    def check(self) -> None:
        """Refuse what can't be understood."""
        self._given = list(self._apart())
        asked = {
            name for each in self._given if each.action is not None for name in each.action.option_strings
        }
        if "--help" in asked:
            return
        for each in self._given:
            self._check_value(each)
        if asked & {*LONE}:
            return
        self._check_names()
        self._check_count()
        self._check_there()
        self._check_missing()

    @property
    def _own_words(self) -> list[_Given]:
        """The words that belong to no option."""
        return [each for each in self._given if each.action is None]

    def _instead(self, first: int, last: int, *new: str) -> list[str]:
        """Return the words with those from first to last replaced."""
        return [*self._words[:first], *new, *self._words[last + 1 :]]

    # ---- options

    def _apart(self) -> Iterator[_Given]:
        """Take the words apart into options with their values, and words of their own."""
        at = 1
        while at < len(self._words):
            word = self._words[at]
            if word == "--":
                yield from (
                    _Given(None, place, place, self._words[place])
                    for place in range(at + 1, len(self._words))
                )
                return
            dashed = word.startswith("-") or _DASHES.match(word)
            own = not dashed or len(word) == 1 or _NUMBER.fullmatch(word)
            given = _Given(None, at, at, word) if own else self._option(at)
            yield given
            at = given.last + 1

    def _option(self, at: int) -> _Given:
        """Return the option that stands at a place."""
        word = self._words[at]
        name, sign, value = word.partition("=")
        action = self._parser.option(name)
        short = word[:2]
        if (
            action is None
            and not word.startswith("--")
            and self._parser.option(short)
            and not _long_meant(word)
        ):
            action, sign, value = self._parser.option(short), "=", word[2:]
        if action is None:
            raise self._unknown(at, name, sign + value)
        if action.nargs == 0:
            if sign:
                raise UsageError(f"{name} takes no value: {value} is too much", self._instead(at, at, name))
            return _Given(action, at, at)
        if sign:
            return _Given(action, at, at, value)
        following = self._words[at + 1] if at + 1 < len(self._words) else "--"
        if following.startswith("-") and following != "-" and not _NUMBER.fullmatch(following):
            if action.nargs == "?":
                return _Given(action, at, at)
            raise UsageError(f"{name} needs a value: {_needs(action)}")
        return _Given(action, at, at + 1, following)

    def _unknown(self, at: int, name: str, more: str) -> UsageError:
        """Return what is said of an option that the command doesn't have."""
        hyphened = _hyphens(name)
        separator = re.fullmatch(r"(--?[a-z-]+):(.+)", hyphened)
        if separator and self._parser.option(separator[1]):
            return UsageError(
                f"a space stands between {separator[1]} and its value",
                self._instead(at, at, separator[1], separator[2]),
            )
        known = self._parser.option(hyphened)
        having = [command for command, parser in self._root.commands.items() if parser.option(hyphened)]
        if known is None and not having and _is_setting(hyphened.removeprefix("--")):
            said = self._words[at + 1 : at + 2]
            value = more.removeprefix("=") or "".join(word for word in said if not word.startswith("-"))
            line = f"{hyphened.removeprefix('--')}: {visible_line(value) or '…'}"
            return UsageError(
                f"tercet {self._command} has no option {name}: it is a setting; write {line} in the song's file"
            )
        if known is None and having:
            have = f"tercet {listed(having)} {'has' if len(having) == 1 else 'have'} it"
            return UsageError(f"tercet {self._command} has no option {name}; {have}")
        near = [known.option_strings[0]] if known else [*lookalikes(hyphened, self._parser.flags)]
        if near:
            sentence = f"tercet {self._command} has no option {name}{did_you_mean(near)}"
            if _DASHES.match(name):
                sentence = f"{name} begins with a dash: a hyphen stands before an option"
            return UsageError(sentence, self._instead(at, at, near[0] + more))
        return UsageError(
            f"tercet {self._command} has no option {name}: tercet {self._command} --help tells those that it has"
        )

    # ---- values

    def _check_value(self, given: _Given) -> None:
        """Refuse a value that the option can't have."""
        action = given.action
        if action is None or action.nargs == 0 or (given.first == given.last and not given.value):
            return
        name = (
            self._words[given.first].partition("=")[0]
            if given.first == given.last
            else self._words[given.first]
        )
        wrong = _wrong_value(action, given.value)
        strays = self._strays(given)
        for count in range(len(strays), 0, -1):
            joined = _joined([given.value, *strays[:count]], action)
            if joined:
                last = given.last + count
                said = visible_line(" ".join([given.value, *strays[:count]]))
                if " " in joined:
                    sentence = f"{name} {said} has a space: put it between quotes"
                else:
                    sentence = f"{name} {said}: did you mean {joined}?"
                raise UsageError(sentence, self._instead(given.first, last, name, joined))
        if wrong is not None:
            sentence, bad, meant = wrong
            instead = with_meant(self._words[given.first : given.last + 1], bad, meant) if meant else ()
            raise UsageError(
                name + sentence, self._instead(given.first, given.last, *instead) if instead else ()
            )

    def _strays(self, given: _Given) -> list[str]:
        """Return the words of their own right after a value that name no file."""
        at = {each.first: each for each in self._own_words}
        strays: list[str] = []
        place = given.last + 1
        while place in at and not self._has_use(at[place].value, given):
            strays.append(at[place].value)
            place += 1
        return strays

    def _has_use(self, word: str, given: _Given) -> bool:
        """Return whether a word has a use of its own beside an option's value: a file to read, an option's name."""
        writes = given.action is not None and given.action.dest == "output"
        to_read = not writes and Path(word).suffix.lower() in (*SONG_ENDINGS, *TUNE_ENDINGS)
        done = writes and Path(given.value).suffix and not Path(word).suffix
        return bool(done) or to_read or _is_file(word) or bool(self._bare_option(word))

    def _bare_option(self, word: str) -> str:
        """Return the option that a word without hyphens names: ``tuning=low-g``, ``handout``."""
        name = word.partition("=")[0].casefold()
        return next((flag for flag in (f"--{name}", f"--{name}s") if flag in self._parser.flags), "")

    # ---- words of their own

    def _check_names(self) -> None:
        """Refuse a file's name with spaces that isn't between quotes."""
        words = self._own_words
        for count in range(min(len(words), 8), 1, -1):
            for start in range(len(words) - count + 1):
                run = words[start : start + count]
                name = " ".join(each.value for each in run)
                together = run[-1].first - run[0].first == count - 1
                if not together or all(_is_file(each.value) for each in run):
                    continue
                if _is_file(name) or (self._command == "new" and count == len(words)):
                    sentence = f"the name {name} has a space: put it between quotes"
                    raise UsageError(sentence, self._instead(run[0].first, run[-1].last, name))

    def _check_count(self) -> None:
        """Refuse more words than the command takes."""
        takes = self._parser.words
        words = self._own_words
        if any(action.nargs in ("*", "+") for action in takes):
            many = [each for each in words if not _is_file(each.value)]
        else:
            many = words[len(takes) :]
        for each in many:
            name, sign, value = each.value.partition("=")
            if bare := self._bare_option(each.value):
                new = [bare, value] if sign else [bare]
                raise UsageError(
                    f"{name} is an option: two hyphens stand before it",
                    self._instead(each.first, each.first, *new),
                )
            if near := lookalikes(f"--{each.value}", self._parser.flags) if len(each.value) > 3 else ():
                told = f"tercet {self._command} has no use for {each.value}{did_you_mean(near)}"
                raise UsageError(told, self._instead(each.first, each.first, *near))
            before = next((one for one in self._given if one.last == each.first - 1), None)
            if (
                before
                and before.action is not None
                and before.action.nargs == 0
                and name.casefold() in _YES_OR_NO
            ):
                flag = self._words[before.first]
                raise UsageError(
                    f"{flag} takes no value: {name} is too much", self._instead(each.first, each.first)
                )
        if many and len(words) > len(takes) and all(action.nargs not in ("*", "+") for action in takes):
            self._refuse_many(words, takes)

    def _refuse_many(self, words: Sequence[_Given], takes: Sequence[argparse.Action]) -> None:
        """Refuse words for which the command has no use."""
        if not takes:
            word = words[0]
            raise UsageError(
                f"tercet {self._command} takes no file: {word.value} is too much",
                self._instead(word.first, word.last),
            )
        if all(_is_file(each.value) for each in words):
            what = "song" if takes[0].metavar == "SONG" else "file"
            drop = {each.first for each in words[1:]}
            first = [word for place, word in enumerate(self._words) if place not in drop]
            raise UsageError(
                f"tercet {self._command} takes one {what} at a time, and {counted(len(words), 'is', 'are')} given",
                first,
            )
        last, extra = words[len(takes) - 1], words[len(takes)]
        if takes[-1].metavar == "KEY":
            name = " ".join(each.value for each in words[len(takes) - 1 :])
            sentence = f"the name {name} has a space: put it between quotes"
            raise UsageError(sentence, self._instead(last.first, words[-1].last, name))
        raise UsageError(
            f"{extra.value} is a word too many: a name with a space stands between quotes",
            self._instead(extra.first, extra.last),
        )

    def _check_missing(self) -> None:
        """Refuse a line on which something is missing that the command needs."""
        words = self._own_words
        needed = [action for action in self._parser.words if action.nargs in (None, "+", "*")]
        song = not words and bool(needed)
        if words and len(words) < len([action for action in needed if action.nargs != "*"]):
            action = needed[len(words)]
            raise UsageError(
                f"tercet {self._command} needs a {_called(str(action.metavar))}: {_needs(action)}"
            )
        given = {each.action for each in self._given}
        output = [
            action
            for action in self._parser.taken
            if action.option_strings and (action.required or action.metavar == "DIR") and action not in given
        ]
        if not song and not output:
            return
        what = str(needed[0].metavar) if song else ""
        wanted = [f"a {_called(what)}"] if song else []
        if output:
            kind = "folder" if output[0].metavar == "DIR" else "file"
            wanted.append(f"a {kind} to write, after -o")
        sentence = f"tercet {self._command} needs {listed(wanted)}"
        here = _songs_here(what) if song else [words[0].value] if words else ["neck"]
        if song and not here:
            new = ["new", "my-song.yaml"]
            if what != "SONG":
                raise UsageError(sentence)
            raise UsageError(f"{sentence}; there is none in this folder, so begin one", new)
        if song and len(here) > 1:
            sentence += f"; here are {listed([*here[:3], *(['others'] if len(here) > 3 else [])])}"
        stem = Path(here[0]).stem or "song"
        target = f"{stem}{EXAMPLE_OUTPUTS.get(self._command, '')}"
        more = ["-o", target if not os.path.exists(target) else f"new-{target}"] if output else []  # noqa: PTH110
        instead = [self._command, *(here[:1] if song else []), *self._words[1:], *more]
        raise UsageError(sentence, instead)

    def _check_there(self) -> None:
        """Refuse a file to read that isn't there, where it is the only one and a person is told."""
        words = self._own_words
        what = str(self._parser.words[0].metavar) if self._parser.words else ""
        several = any(action.nargs in ("*", "+") for action in self._parser.words) and len(words) > 1
        if not words or several or what not in ("SONG", "TUNE") or "--json" in self._words:
            return
        path, endings = words[0].value, TUNE_ENDINGS if what == "TUNE" else SONG_ENDINGS
        if _is_missing(path):
            raise missing_file(Path(path), endings)
        if os.path.isdir(path):  # noqa: PTH112 - no error where we may not look
            raise folder_instead(Path(path), endings)


def _needs(action: argparse.Action) -> str:
    """Return what an option needs, as its help says it."""
    return re.sub(r"\s*\(.*?\)", "", (action.help or f"{action.metavar}").replace("%%", "%"))


def _called(metavar: str) -> str:
    return {
        "SONG": "song",
        "SONG.yaml": "file's name, such as my-song.yaml",
        "TUNE": "tune",
        "RECORDING": "recording",
        "KEY": "key",
    }.get(metavar, metavar)


def _songs_here(what: str) -> list[str]:
    """Return the files of this folder that a command could read."""
    if what == "SONG.yaml":
        return ["my-song.yaml"]
    return list(files_in(Path(), TUNE_ENDINGS if what == "TUNE" else SONG_ENDINGS))


def _hyphens(name: str) -> str:
    """Return an option's name with two hyphens before it, whatever stands there."""
    bare = _DASHES.sub("", name).lstrip("-").replace("_", "-").casefold()
    return f"--{bare}" if len(bare) > 1 else f"-{bare}"


def _long_meant(word: str) -> bool:
    """Return whether a word with one hyphen is a long option: ``-out``, ``-output``."""
    return len(word) > 3 and "--output".startswith("-" + word)


def _is_missing(name: str) -> bool:
    """Return whether there surely is no such file; what else keeps it from being read is told by who reads it."""
    try:
        Path(name).stat()
    except (FileNotFoundError, NotADirectoryError):
        return True
    except (OSError, ValueError):
        return False
    return False


def _is_file(name: str) -> bool:
    return os.path.exists(name)  # noqa: PTH110 - any text will do


def _wrong_value(action: argparse.Action, value: str) -> tuple[str, str, str] | None:
    """Return what is wrong with a value: the sentence after the option's name, the wrong part, what is meant."""
    from tercet.kit import OptionError

    if action.type is int:
        return _wrong_number(value, action)
    if action.choices is not None:
        choices = [str(choice) for choice in action.choices]
        if value in choices:
            return None
        near = lookalikes(value, choices)
        return f" must be {listed(choices, 'or')} (got {value}){did_you_mean(near)}", value, "".join(near)
    if action.type is None or not callable(action.type):
        return None
    try:
        action.type(value)
    except OptionError as error:
        return error.fault, error.given, next(iter(error.meant), "")
    except RequestError as error:
        return f": {error}", error.given, error.meant
    return None


def _wrong_number(value: str, action: argparse.Action) -> tuple[str, str, str] | None:
    """Return what is wrong with a whole number, as `_wrong_value` does."""
    choices = [str(choice) for choice in action.choices or ()]
    if re.fullmatch(r"\s*[+-]?\d+\s*", value) and (not choices or value.strip() in choices):
        return None
    if choices:
        return f" must be {listed(choices, 'or')} (got {value})", value, ""
    figures = re.findall(r"[+-]?\d+(?![.,\d])", value)
    meant = figures[0] if len(figures) == 1 and not re.search(r"\d[.,]\d", value) else ""
    return (
        f" must be a whole number such as 2 (got {value}){did_you_mean([meant] if meant else [])}",
        value,
        meant,
    )


def _joined(parts: Sequence[str], action: argparse.Action) -> str:
    """Return the value that its parts make where each was taken for a word of its own; empty if they make none."""
    spaced, close = " ".join(parts), "".join(parts)
    if parts[0] == "=":
        return close[1:] if _wrong_value(action, close[1:]) is None else ""
    if any(part.startswith(",") for part in parts[1:]) or any(part.endswith(",") for part in parts[:-1]):
        return close if _wrong_value(action, close) is None else ""
    if action.type is None:
        return spaced if action.choices is None else ""
    wrong = _wrong_value(action, spaced)
    if wrong is None:
        return spaced if parts[-1][:1].isalnum() else close
    _, bad, meant = wrong
    return meant if meant and bad == spaced else ""


# ---- the line again, with what is meant


def with_meant(words: Sequence[str], given: str, meant: str) -> list[str]:
    """Return words with what is meant in the place of what was given; empty if that isn't among them.

    Examples
    --------
    >>> with_meant(["kit", "a.yaml", "--tuning", "high-g,lowg"], "lowg", "low-g")
    ['kit', 'a.yaml', '--tuning', 'high-g,low-g']
    """
    for place in range(len(words) - 1, -1, -1):
        head, sign, value = (
            words[place].rpartition("=") if words[place].startswith("--") else ("", "", words[place])
        )
        if value == given:
            return [*words[:place], head + sign + meant, *words[place + 1 :]]
        parts = [part.strip() for part in value.split(",")]
        for first in range(len(parts)):
            for last in range(len(parts), first, -1):
                if " ".join(parts[first:last]) == given:
                    new = ",".join([*parts[:first], meant, *parts[last:]])
                    return [*words[:place], head + sign + new, *words[place + 1 :]]
    return []


def meant_words(error: BaseException, words: Sequence[str]) -> str:
    """Return the command to type instead of one that ended with an error; empty where that can't be told."""
    instead: Sequence[str] = ()
    if isinstance(error, UsageError) and error.instead:
        instead = error.instead
    elif isinstance(error, RequestError) and error.meant:
        instead = with_meant(words, error.given, error.meant)
    return typed("tercet", *instead) if instead else ""
