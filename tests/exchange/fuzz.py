"""Damaged tunes without end: whatever a file holds, a reader makes a song of it or says what is wrong, and soon.

``python -m tests.exchange.fuzz --minutes 10`` (``make fuzz``) goes on until the time is over and prints what it tried;
`tests/exchange/test_fuzz.py` takes a few hundred in every run.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from render.errors import RequestError
from render.exchange.abc_in import read_abc
from render.exchange.imported_text import imported_text
from render.exchange.leadsheet import LeadSheet
from render.exchange.midi_in import read_midi
from render.exchange.musicxml_in import read_musicxml
from render.song.reader import parse_song
from tests.exchange.midi_files import meta, midi, notes, track
from tests.exchange.scores import direction, harmony, note, packed, score, start, sung

LONGEST_S = 10.0
"""For one tune, on a machine that has other things to do; most take milliseconds."""

_XML = score(
    start(2, 1, 3, 4)
    + direction("<rehearsal>Verse</rehearsal>")
    + harmony("Am", "minor")
    + sung("C4", 2, "Hot"),
    '<barline location="left"><repeat direction="forward"/></barline>'
    + direction("<dynamics><mf/></dynamics>", '<sound tempo="92"/>')
    + sung("D4", 2, "wa", "begin", 2)
    + note("F#5", 1, "<tie type='start'/>")
    + note("r", 1)
    + "<backup><duration>2</duration></backup><forward><duration>1</duration></forward>",
    '<barline><ending number="1" type="start"/></barline>'
    + note("F#5", 4, "<tie type='stop'/>")
    + '<barline><ending number="1" type="stop"/><repeat direction="backward" times="2"/></barline>',
)
_ABC = (
    b"X:1\nT:Caf\xc3\xa9\nC:A. Nobody\nM:6/8\nL:1/8\nQ:3/8=92\nP:A(AB)2\nK:Ador\nV:1\n"
    b'P:A\n"Am"A>B c |: [CEG]2 !mf!(3ABc {g}d2 |1 z2 ^F4- :|2 F6 || Z2 & C6 |]\n'
    b"w:Hot wa-ter_ * sings|~two\\\n[K:G] [M:3/4] \"^slow\"G,,3/2 g''/2 x |: D.C. !fine! y:|\nP:B\nu.H A4::B/c//d|\n"
)
_MIDI = midi(
    track("Tune", meta(0, "time_signature", numerator=3, denominator=4), meta(0, "set_tempo", tempo=600_000),
          meta(0, "key_signature", key="G"), meta(1, "marker", text="Verse")),
    track("voice", *notes((67, 0, 1), (69, 1, 2), (71, 1.5, 3)), meta(0, "lyrics", text="Ket-")),
    track("guitar", *notes((48, 0, 3), (52, 0, 3), (55, 0, 3))),
)  # fmt: skip

_BITS = {
    "musicxml": (
        b"<", b">", b"</", b"/>", b"<note>", b"</note>", b"<duration>", b"<chord/>", b"<grace/>", b"<pitch>", b"<rest/>",
        b"<backup><duration>9</duration></backup>", b"<divisions>0</divisions>", b"-1", b"0", b"1e9", b"99999999999",
        b"&amp;", b"&x;", b"<!DOCTYPE a [", b"<![CDATA[", b"<lyric><text/></lyric>", b"<fifths>7</fifths>",
        b"<harmony/>", b"<kind>other</kind>", b"<degree/>", b"<frame/>", b"<segno/>", b"<coda/>", b"<sound dacapo='yes'/>",
        b"times='0'", b"number=''", b"\x00", b"\xff\xfe", "♭‿𝄞".encode(), b"NaN", b"<staves>2</staves>",
    ),
    "abc": (
        b"|", b":", b"::", b"|1", b"[2", b"[", b"]", b"(3", b"(9:8:99", b">", b"<<", b"-", b"z", b"Z99", b"x0", b"A/0", b"C99999",
        b"^^", b"__", b"=", b",,,,", b"''''", b'"Am7add11"', b'"', b"!", b"!D.S.!", b"{", b"}", b"&", b"\\", b"%", b"\n", b"\nK:", b"\nM:0/0\n",
        b"\nL:1/0\n", b"\nP:ZZ9\n", b"\nw:", b"\nV:2\n", b"\nX:2\n", b"[V:2]", b"[K:exp]", b"\x00", b"\xff", "♭‿".encode(), b"*", b"_", b"~",
    ),
    "midi": (
        b"MTrk", b"MThd", b"\x00", b"\xff", b"\x7f", b"\x80", b"\x90\x3c\x50", b"\x80\x3c\x00", b"\xff\x2f\x00", b"\xff\x58\x04\x00\x00\x00\x00",
        b"\xff\x59\x02\x7f\x07", b"\xff\x51\x03\x00\x00\x00", b"\xff\x05\x03a- ", b"\xf0\x01", b"\xf7", b"\x83\x00", b"\xff\xff\xff\x7f",
    ),
}  # fmt: skip

READERS: dict[str, tuple[bytes, Callable[[bytes], LeadSheet]]] = {
    "musicxml": (_XML, lambda data: read_musicxml(data, "fuzz")),
    "compressed": (packed({"score.xml": _XML}), lambda data: read_musicxml(data, "fuzz")),
    "abc": (_ABC, lambda data: read_abc(data, "fuzz", "1")),
    "midi": (_MIDI, lambda data: read_midi(data, "fuzz")),
}
"""A whole file of each kind, and what reads it."""


@st.composite
def damaged(draw: st.DrawFn, kind: str) -> bytes:
    """Files of a kind with one to eight slips: bits put in, taken out, doubled, moved, changed."""
    data = READERS[kind][0]
    bits = st.sampled_from(_BITS.get(kind, _BITS["midi"])) | st.binary(max_size=6)
    for _ in range(draw(st.integers(1, 8))):
        low = draw(st.integers(0, len(data)))
        high = min(low + draw(st.sampled_from((0, 0, 1, 2, 5, 20, 100))), len(data))
        place = draw(st.integers(0, len(data)))
        data = draw(
            st.sampled_from(
                (
                    data[:low] + draw(bits) + data[low:],
                    data[:low] + draw(bits) + data[high:],
                    data[:low] + data[high:],
                    data[:place] + data[low:high] + data[place:],
                    data[:high] + data[low:],
                )
            )
        )
    return data


def outcome(kind: str, data: bytes, *, harmonise: bool) -> str:
    """Return ``"song"``, or ``"refused"``; anything else that happens is a fault of ours."""
    began_s = time.process_time()
    try:
        text, song, _ = imported_text(READERS[kind][1](data), "fuzz", harmonise=harmonise)
        again = parse_song(text)
        assert (again.sections, again.form) == (song.sections, song.form)
        result = "song"
    except RequestError as error:
        assert str(error).strip()
        result = "refused"
    taken_s = time.process_time() - began_s
    assert taken_s < LONGEST_S, f"{taken_s:.1f} s"
    return result


def main() -> int:
    """Fuzz every reader in turn until the time is over."""
    parser = argparse.ArgumentParser(
        description="Feed damaged tunes to the readers of MusicXML, ABC and MIDI."
    )
    parser.add_argument("--minutes", type=float, default=10)
    until_s = time.monotonic() + 60 * parser.parse_args().minutes
    tried: Counter[tuple[str, str]] = Counter()
    while time.monotonic() < until_s:
        for kind in READERS:
            _fuzz(kind, tried)
        told = ", ".join(f"{kind} {result} {count}" for (kind, result), count in sorted(tried.items()))
        print(f"{tried.total()} tried: {told}", file=sys.stderr, flush=True)
    print(f"{tried.total()} damaged tunes, no traceback")
    return 0


def _fuzz(kind: str, tried: Counter[tuple[str, str]]) -> None:
    @given(damaged(kind), st.booleans())
    @settings(max_examples=300, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    def fuzz(data: bytes, harmonise: bool) -> None:
        tried[kind, outcome(kind, data, harmonise=harmonise)] += 1

    fuzz()


if __name__ == "__main__":
    raise SystemExit(main())
