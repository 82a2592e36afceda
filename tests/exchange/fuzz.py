"""Damaged tunes without end: whatever a file holds, a reader makes a song of it or says what is wrong, and soon.

`tools/fuzz.py` (``make fuzz``) goes on until its time is over; `tests/exchange/test_fuzz.py` takes a few hundred in
every run.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from hypothesis import strategies as st

from tercet.errors import RequestError
from tercet.exchange import LeadSheet, imported_text
from tercet.exchange.abc import read_abc
from tercet.exchange.chordpro import read_chordpro
from tercet.exchange.midi.reader import read_midi
from tercet.exchange.musicxml import read_musicxml
from tercet.song.reader import parse_song
from tests.exchange.midi.files import meta, midi, notes, track
from tests.exchange.musicxml.scores import direction, harmony, note, packed, score, start, sung
from tests.yardstick import at_most

MOST_YARDSTICKS = 200
"""For one tune; most take a fraction of one."""

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

_CHORDPRO = (
    b"{title: Caf\xc3\xa9}\n{st: by night}\n{key: Am}\n{time: 6/8}\n{tempo: 92}\n{capo: 2}\n"
    b"{define: D7 base-fret 1 frets 2 0 2 0 fingers 1 0 2 0}\n# unsung\n"
    b"{c: Verse 1}\nOh [Am]hot wa-ter, [*softly]hot [E7]wa[Am/C]ter\nwa\\\n  ter [N.C.]sings\n\n"
    b"{soc: Chorus}\n[|][F]Sing [/] [C]out [|][G7]loud, <b>sing</b> [|][*/]out \\u00e9-\n{eoc}\n"
    b'{start_of_verse label="Verse 2"}\nOh cold wa-ter\nruns\n{end_of_verse}\n{chorus}\n{transpose: 2}\n'
    b"{sog: 4x3}\n|: Am . . | C~F . % :|1 % . . :|2 %% . . | . . . |.\n|S dn dn~up ~up |\n{eog}\n"
    b"{start_of_tab}\nA|--0--|\n{end_of_tab}\n{x_tercet_pickup: 1}\n{new_song}\n{t: Two}\n[C]la\n"
)
_OVER_WORDS = (
    b"Hot Water\nKey: C   \nTempo: 96\n\n[Verse 1]\n    C         | G7/B   N.C.\nThe hot    water    sings\n"
    b"Am / F#dim\n\nChorus:\nC   F   (x2)\nOh\tno\n\nVerse 2\nThe cold water runs\nla\n"
)

_BITS: dict[str, list[bytes]] = {
    "musicxml": [
        *b"< > </ /> <note> </note> <duration> <chord/> <grace/> <pitch> <rest/> -1 0 1e9 9999999 &amp; &x;".split(),
        *b"<lyric><text/></lyric> <fifths>7</fifths> <harmony/> <kind>other</kind> <degree/> <frame/> <segno/>".split(),
        *b"<coda/> times='0' number='' <staves>2</staves> <divisions>0</divisions> <![CDATA[ \xff\xfe \x00".split(),
        b"<backup><duration>9</duration></backup>",
        b"<!DOCTYPE a [",
        b"<sound dacapo='yes'/>",
        "♭‿𝄞".encode(),
    ],
    "abc": [
        *b"| : :: |1 [2 [ ] (3 (9:8:99 > << - z Z99 x0 A/0 C99999 ^^ __ = ,,,, '''' ! !D.S.! { } & \\ % * _ ~".split(),
        *b'"Am7add11" " [V:2] [K:exp] \x00 \xff'.split(),
        *(f"\n{field}\n".encode() for field in ("K:", "M:0/0", "L:1/0", "P:ZZ9", "w:", "V:2", "X:2", "")),
        "♭‿".encode(),
    ],
    "chordpro": [
        *b"{ } [ ] | || |: :| [*|] [*/] [C [C]] {soc} {eoc} {sov} {sog} {eog} {sot} {chorus} {ns}".split(),
        *b"{time: 0/0} {time: 16/32} {transpose: 99} {capo: 24} {tempo: 1e9} {key: H} {define: C frets}".split(),
        *b"%% % ~ . / \\ \\ud800 - -- x99 # [*] {x_tercet_section: \xe9} {x_tercet_pickup: 1/0}".split(),
        *b"{x_tercet_pickup: 99} {x_tercet_tuning: x} \x00 \xff".split(),
        *(
            f"\n{line}\n".encode()
            for line in ("", "{c: Chorus}", "{start_of_grid}", "[C]" * 70, "la " * 70, "| C" * 40)
        ),
        "♭‿\u2028\u00ad".encode(),
    ],
    "midi": [
        *(b"MTrk", b"MThd", b"\x00", b"\xff", b"\x7f", b"\x80", b"\x83\x00", b"\xf0\x01", b"\xf7"),
        *(b"\x90\x3c\x50", b"\x80\x3c\x00", b"\xff\x2f\x00", b"\xff\xff\xff\x7f", b"\xff\x05\x03a- "),
        *(b"\xff\x58\x04\x00\x00\x00\x00", b"\xff\x59\x02\x7f\x07", b"\xff\x51\x03\x00\x00\x00"),
    ],
}
"""What means something to a reader, put where it makes no sense."""

READERS: dict[str, tuple[bytes, Callable[[bytes], LeadSheet]]] = {
    "musicxml": (_XML, lambda data: read_musicxml(data, "fuzz")),
    "compressed": (packed({"score.xml": _XML}), lambda data: read_musicxml(data, "fuzz")),
    "abc": (_ABC, lambda data: read_abc(data, "fuzz", "1")),
    "chordpro": (_CHORDPRO, lambda data: read_chordpro(data, "fuzz", "1", Fraction(1))),
    "chordpro by halves": (
        _CHORDPRO,
        lambda data: read_chordpro(data, "fuzz", bars_per_chord=Fraction(1, 2)),
    ),
    "over words": (_OVER_WORDS, lambda data: read_chordpro(data, "fuzz", bars_per_chord=Fraction(2))),
    "midi": (_MIDI, lambda data: read_midi(data, "fuzz")),
}
"""A whole file of each kind, and what reads it."""


@st.composite
def damaged(draw: st.DrawFn, kind: str) -> bytes:
    """Files of a kind with one to eight slips: bits put in, taken out, doubled, moved, changed."""
    data = READERS[kind][0]
    bits = st.sampled_from(
        _BITS.get(kind.partition(" ")[0], _BITS["chordpro" if kind == "over words" else "midi"])
    ) | st.binary(max_size=6)
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
    with at_most(MOST_YARDSTICKS):
        try:
            text, song, _ = imported_text(READERS[kind][1](data), "fuzz", harmonise=harmonise)
            again = parse_song(text)
            assert (again.sections, again.form) == (song.sections, song.form)
        except RequestError as error:
            if not str(error).strip():
                raise
            return "refused"
    return "song"
