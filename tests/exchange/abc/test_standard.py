"""ABC 2.1 chapter by chapter: small tunes, each with what it plays worked out by hand from the standard's text."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tercet.exchange import imported_text
from tercet.exchange.abc import read_abc
from tercet.song import Song, played_bars

HEAD = "X:1\nT:Small Tune\nM:4/4\nL:1/4\nQ:1/4=100\nK:C\n"


def imported(text: str, voice: str = "") -> tuple[Song, tuple[str, ...]]:
    _, song, remarks = imported_text(read_abc(text.encode(), "book.abc", "", voice), "book.abc")
    return song, remarks


def played(song: Song) -> str:
    """Return notes and rests as played, lengths in quarters, ties joined: ``C4 r2 G4:1/2``; rests at the end go."""
    quarter = Fraction(4, song.meter.lower)
    sounds: list[tuple[str, Fraction]] = []
    tied = False
    for bar in played_bars(song):
        for note in bar.melody:
            name = "." if note.pitch is None else str(note.pitch)
            joins = sounds and sounds[-1][0] == name and (tied or name == ".")
            length = note.length_beat * quarter + (sounds.pop()[1] if joins else 0)
            sounds.append((name, length))
            tied = note.tied_on
    while sounds and sounds[-1][0] == ".":
        sounds.pop()
    return " ".join(name if length == 1 else f"{name}:{length}" for name, length in sounds)


def sung(song: Song) -> str:
    """Return the syllables as sung, ``-`` where one goes on in its word, ``_`` where none begins."""
    words = [word for bar in played_bars(song) for _, word in bar.words]
    return " ".join((word.text or "_") + ("-" if word.joined else "") for word in words)


def chords(song: Song) -> str:
    return " ".join(str(span.chord or "N.C.") for bar in played_bars(song) for span in bar.chords)


NOTES: dict[str, tuple[str, str]] = {
    # 4.1 to 4.3: pitch, accidentals, lengths
    "octaves": ("C, C c c'|", "C3 C4 C5 C6"),
    "octave marks against each other": ("c, C' z2|", "C4 C5"),
    "accidentals hold in the bar, in every octave": ("^F f =F f|F4|", "F#4 F#5 F4 F5 F4:4"),
    "double ones": ("^^C __D C D|", "C##4 Dbb4 C##4 Dbb4"),
    "lengths": (
        "C2 D/2 E/ F3/4 G/4|A//B//c3/2d2|",
        "C4:2 D4:1/2 E4:1/2 F4:3/4 G4:1/4 A4:1/4 B4:1/4 C5:3/2 D5:2",
    ),
    "a typographic apostrophe is an octave": ("c’ C z2|", "C6 C4"),
    "tabs are spaces": ("C\tD\tE2|", "C4 D4 E4:2"),
    # 4.4: broken rhythm
    "broken": ("C>D E<F|", "C4:3/2 D4:1/2 E4:1/2 F4:3/2"),
    "doubly and triply": ("C>>D E>>>F|", "C4:7/4 D4:1/4 E4:15/8 F4:1/8"),
    "broken with spaces and a chord": ("C > [EG] A2|", "C4:3/2 G4:1/2 A4:2"),
    "broken with a rest": ("z>C D>z|", ".:3/2 C4:1/2 D4:3/2"),
    "broken with grace, text and decoration between": ('C>{de}"G"!mf!D E2|', "C4:3/2 D4:1/2 E4:2"),
    "broken over a bar line": ("E3 C>|D E3|", "E4:3 C4:3/2 D4:1/2 E4:3"),
    # 4.5: rests
    "rests": ("C z D x|z2 y2 E z/ F/|", "C4 . D4 .:3 E4 .:1/2 F4:1/2"),
    "bars of rest": ("C4|Z2|D4|X|E4|", "C4:4 .:8 D4:4 .:4 E4:4"),
    "a rest of a bar": ("z4|C4|", ".:4 C4:4"),
    # 4.11: ties and slurs
    "ties over a bar line": ("C4-|C2 D2|", "C4:6 D4:2"),
    "a tie holds the accidental": ("^F4-|F2 F2|", "F#4:6 F4:2"),
    "a tie after the bar line": ("C4|-C2 D2|", "C4:6 D4:2"),
    "a dotted tie": ("C4.-|C2 D2|", "C4:6 D4:2"),
    "slurs change nothing": ("(C (D E) F)|.(G4)|", "C4 D4 E4 F4 G4:4"),
    # 4.12: grace notes
    "grace notes take no time": ("{d}C {/e}D {fga}E {^f2g/}F|", "C4 D4 E4 F4"),
    # 4.13: tuplets
    "triplet": ("(3CDE F2 G|", "C4:2/3 D4:2/3 E4:2/3 F4:2 G4"),
    "two, four": ("(2CD z|", "C4:3/2 D4:3/2"),
    "triplet over a rest": ("(3CzE F2|", "C4:2/3 .:2/3 E4:2/3 F4:2"),
    "triplet with decorations and texts inside": ('(3!trill!C"Am"D.E F2|', "C4:2/3 D4:2/3 E4:2/3 F4:2"),
    "triplet with a chord": ("(3[CE]DE F2|", "E4:2/3 D4:2/3 E4:2/3 F4:2"),
    "spelt out": ("(3:2:4C/D/EF G2|", "C4:1/3 D4:1/3 E4:2/3 F4:2/3 G4:2"),
    "left out in part": ("(3::2CD E2|", "C4:2/3 D4:2/3 E4:2"),
    "of unequal notes": ("(3:2:2C2D E2|", "C4:4/3 D4:2/3 E4:2"),
    "six": ("(6C/D/E/F/G/A/ c3|", "C4:1/6 D4:1/6 E4:1/6 F4:1/6 G4:1/6 A4:1/6 C5:3"),
    "five in a simple meter": ("(5CDEFG z2|", "C4:2/5 D4:2/5 E4:2/5 F4:2/5 G4:2/5"),
    "a slur before a triplet": ("((3CDE) F2|", "C4:2/3 D4:2/3 E4:2/3 F4:2"),
    # 4.14 to 4.17: decorations, chords
    "decorations": ("~C .D HE LF|MG PA uB vc|", "C4 D4 E4 F4 G4 A4 B4 C5"),
    "named decorations": ("!trill!C !f!D +p+E !accent!F|", "C4 D4 E4 F4"),
    "a chord's highest note": ("[CEG] [GEC] [C2E2G2]|", "G4 G4 G4:2"),
    "a chord's length": ("[CE]2 [C/E/]2 z|", "E4:2 E4"),
    "a chord of different lengths lasts as its first": ("[C2E4] [E4C]0D2|", "E4:2 D4:2"),
    "a decoration within a chord": ("[C!fermata!EG]2 D2|E4|", "G4:2 D4:2 E4:4"),
    "a grace note within a chord": ("[C{d}EG]2 D2|E4|", "G4:2 D4:2 E4:4"),
    "a text within a chord": ('["Am"CE"^text"A]2 D2|E4|', "A4:2 D4:2 E4:4"),
    "an old decoration within a chord": ("[C+f+E]2 D2|E4|", "E4:2 D4:2 E4:4"),
    "ties within a chord": ("[C-E-]4|[CE]2 z2|", "E4:6"),
    "a tie of the lower note alone": ("[C-E]4|[CE]4|", "E4:4 E4:4"),
    "a tie of the whole chord": ("[CE]4-|[CE]4|", "E4:8"),
    "rests in a chord": ("[zC]4|[D2z2]2|", "C4:4 D4:4"),
    "accidentals in a chord": ("[C^E]2 E2|", "E#4:2 E#4:2"),
    "an old chord between plus signs": ("+CEG+ +CE2+ z|", "G4 E4 "),
    "unisons": ("[CC]4|", "C4:4"),
    # 4.8 to 4.10: bar lines, repeats and endings
    "kinds of bar lines": ("C4||D4|]E4[|F4.|G4|:A4:|", "C4:4 D4:4 E4:4 F4:4 G4:4 A4:4 A4:4"),
    "invisible": ("C4[|]D4|", "C4:4 D4:4"),
    "a double repeat": ("|:C4::D4:|", "C4:4 C4:4 D4:4 D4:4"),
    "its other spellings": ("|:C4:||:D4:|", "C4:4 C4:4 D4:4 D4:4"),
    "with one line": ("|:C4:|:D4:|", "C4:4 C4:4 D4:4 D4:4"),
    "three times": ("|::C4::|D4|", "C4:4 C4:4 C4:4 D4:4"),
    "an end with a thick line": ("|:C4:|]D4|", "C4:4 C4:4 D4:4"),
    "endings": ("|:C4|1 D4:|2 E4|]", "C4:4 D4:4 C4:4 E4:4"),
    "endings in brackets": ("|:C4 [1 D4:|[2 E4|]", "C4:4 D4:4 C4:4 E4:4"),
    "endings behind a space": ("|:C4| [1 D4:| [2 E4||F4|", "C4:4 D4:4 C4:4 E4:4 F4:4"),
    "endings of several passes": ("|:C4|[1,3 D4:|[2 E4:|F4|", "C4:4 D4:4 C4:4 E4:4 C4:4 D4:4 F4:4"),
    "a range of passes": ("|:C4|[1-2 D4:|[3 E4|]", "C4:4 D4:4 C4:4 D4:4 C4:4 E4:4"),
    "endings of two bars": ("|:C4|1 D4|E4:|2 F4|G4||A4|", "C4:4 D4:4 E4:4 C4:4 F4:4 G4:4 A4:4"),
    "da capo al fine": ("C4|D4!fine!|E4!D.C.alfine!|", "C4:4 D4:4 E4:4 C4:4 D4:4"),
    "dal segno": ("C4|!segno!D4|E4!fine!|F4!D.S.!|", "C4:4 D4:4 E4:4 F4:4 D4:4 E4:4"),
    "instructions in words": ('C4|D4"^Fine"|E4"^D.C. al Fine"|', "C4:4 D4:4 E4:4 C4:4 D4:4"),
    "from the sign, in words": ('C4|"^Segno"D4|E4"^D.S."|', "C4:4 D4:4 E4:4 D4:4 E4:4"),
    "an instruction above the last bar": ('C4|"Fine"D4|"D.C."E4|', "C4:4 D4:4 E4:4 C4:4 D4:4"),
    "an instruction after the bar line": ("C4|D4|!fine!\nE4|!dacapo!", "C4:4 D4:4 E4:4 C4:4 D4:4"),
    "letters for signs": ("C4|SD4|E4!D.S.!|", "C4:4 D4:4 E4:4 D4:4 E4:4"),
    "to the coda": (
        "C4|D4!dacoda!|E4!D.C.!|!coda!F4|",
        "C4:4 D4:4 E4:4 C4:4 D4:4 F4:4",
    ),
    # 4.19 and 7.4: annotations, overlays
    "annotations": ('"^a"C "_b"D "<c"E ">d"F|"@1,2 e"G4|', "C4 D4 E4 F4 G4:4"),
    "a second voice over the bar": ("C D E F & G2 G2|A4|", "C4 D4 E4 F4 A4:4"),
    "over two bars": ("C4|D4 && G4|G4|E4|", "C4:4 D4:4 E4:4"),
    # 3.2: fields within the tune
    "inline fields": (
        "C2 [L:1/8]CDEF|[K:D][M:4/4]F4C4|[r:a remark]G8|",
        "C4:2 C4:1/2 D4:1/2 E4:1/2 F4:1/2 F#4:2 C#4:2 G4:4",
    ),
    "fields on lines of their own": ("C4|\nK:D\nL:1/2\nF C|", "C4:4 F#4:2 C#4:2"),
    "a field after the backslash": ("C D\\\nL:1/8\nE2F2|", "C4 D4 E4 F4"),
    # 2.2: text, comments
    "text that is typeset": ("C4|\n%%begintext\nBADE CAFE |\n%%endtext\nD4|", "C4:4 D4:4"),
    "pictures": ("C4|\n%%beginps\nA B C|\n%%endps\n%%beginsvg\nd e|\n%%endsvg\nD4|", "C4:4 D4:4"),
    "directives": ("C4|\n%%text A B C D|\n%%vskip 1cm\nD4|", "C4:4 D4:4"),
    "comments": ("C4|% D4|\n% E4|\nF4|", "C4:4 F4:4"),
    "an empty line within the tune": ("C4|\n\nD4|", "C4:4 D4:4"),
    "a remark in the middle of a line": ("C D % a bead\nE F|", "C4 D4 E4 F4"),
    # 10: what older files have
    "an exclamation mark ends a line": ("C4|!D4|", "C4:4 D4:4"),
    "a backquote is nothing": ("C`D E`F|", "C4 D4 E4 F4"),
}


@pytest.mark.parametrize("name", NOTES)
def test_what_is_written_is_what_is_played(name: str) -> None:
    music, expected = NOTES[name]
    assert played(imported(HEAD + music + "\n")[0]) == expected.strip()


HEADS: dict[str, tuple[str, str, str, str, str]] = {
    # name: (head and music, played, meter, key, quarters a minute); 96 pulses a minute where none is given
    "no unit in a long meter": ("M:3/4\nK:C\nC2 D2 E2|", "C4 D4 E4", "3/4", "C major", "96"),
    "no unit in a short meter": ("M:2/4\nK:C\nC4 D4|", "C4 D4", "2/4", "C major", "96"),
    "6/8 is long": ("M:6/8\nQ:3/8=60\nK:C\nC3 D3|", "C4:3/2 D4:3/2", "6/8", "C major", "90"),
    "common time": ("M:C\nL:1/4\nK:C\nC4|", "C4:4", "4/4", "C major", "96"),
    "cut time": ("M:C|\nL:1/4\nQ:1/2=60\nK:C\nC4|", "C4:4", "2/2", "C major", "120"),
    "a sum": ("M:2+3/8\nL:1/8\nQ:1/8=120\nK:C\nC2D3|", "C4 D4:3/2", "5/8", "C major", "60"),
    "no meter": ("L:1/4\nK:C\nC D E|F G A|B3|", "C4 D4 E4 F4 G4 A4 B4:3", "3/4", "C major", "96"),
    "free meter": ("M:none\nL:1/4\nK:C\nC D E F|G4|", "C4 D4 E4 F4 G4:4", "4/4", "C major", "96"),
    "no meter, in eighths": (
        "L:1/8\nQ:1/8=120\nK:C\nCDE FG|A5|",
        "C4:1/2 D4:1/2 E4:1/2 F4:1/2 G4:1/2 A4:5/2", "5/8", "C major", "60",
    ),
    "a meter before the first note": ("L:1/4\nK:C\nM:3/4\nC D E|", "C4 D4 E4", "3/4", "C major", "96"),
    "old tempo": ("M:4/4\nL:1/8\nQ:120\nK:C\nC8|", "C4:4", "4/4", "C major", "60"),
    "old tempo by units": ("M:4/4\nL:1/8\nQ:C3=40\nK:C\nC8|", "C4:4", "4/4", "C major", "60"),
    "tempo with words": ('M:4/4\nL:1/4\nQ:"Allegro" 1/4=132\nK:C\nC4|', "C4:4", "4/4", "C major", "132"),
    "tempo of two lengths": ("M:4/4\nL:1/4\nQ:1/4 1/8=60\nK:C\nC4|", "C4:4", "4/4", "C major", "90"),
    "a tempo before the first note": ("M:4/4\nL:1/4\nK:C\n[Q:1/4=72]C4|", "C4:4", "4/4", "C major", "72"),
    "a tempo on a line before the first note": ("M:4/4\nL:1/4\nK:C\nQ:1/4=72\nC4|", "C4:4", "4/4", "C major", "72"),
    "a key before the first note": ("M:4/4\nL:1/4\nK:C\n[K:G]F4|", "F#4:4", "4/4", "G major", "96"),
    "dorian": ("M:4/4\nL:1/4\nK:Ddor\nF C B2|", "F4 C4 B4:2", "4/4", "D minor", "96"),
    "mixolydian": ("M:4/4\nL:1/4\nK:D Mixolydian\nF C2 z|", "F#4 C4:2", "4/4", "D major", "96"),
    "explicit signs": ("M:4/4\nL:1/4\nK:D exp _b ^f\nB F C2|", "Bb4 F#4 C4:2", "4/4", "D major", "96"),
    "signs added": ("M:4/4\nL:1/4\nK:D =c\nF C2 z|", "F#4 C4:2", "4/4", "D major", "96"),
    "pipes": ("M:4/4\nL:1/4\nK:HP\nF C G2|", "F#4 C#4 G4:2", "4/4", "D major", "96"),
    "no key signature": ("M:4/4\nL:1/4\nK:none\nG A B c|", "G4 A4 B4 C5", "4/4", "C major", "96"),
    "a clef alone": ("M:4/4\nL:1/4\nK:alto\nC E G c|", "C4 E4 G4 C5", "4/4", "C major", "96"),
    "a clef and a key": ("M:4/4\nL:1/4\nK:G bass\nF4|", "F#4:4", "4/4", "G major", "96"),
    "an octave lower": ("M:4/4\nL:1/4\nK:C octave=-1\nC4|", "C3:4", "4/4", "C major", "96"),
    "an octave clef": ("M:4/4\nL:1/4\nK:C clef=treble-8\nc4|", "C4:4", "4/4", "C major", "96"),
    "transposed": ("M:4/4\nL:1/4\nK:C transpose=-2\nC E|", "Bb3 D4", "4/4", "Bb major", "96"),
    "a small letter": ("M:4/4\nL:1/4\nK:g\nF4|", "F#4:4", "4/4", "G major", "96"),
    "every bar a new accidental by octave": (
        "M:4/4\nL:1/4\nI:propagate-accidentals octave\nK:C\n^F f F2|",
        "F#4 F5 F#4:2", "4/4", "C major", "96",
    ),
    "accidentals for one note": (
        "M:4/4\nL:1/4\n%%propagate-accidentals not\nK:C\n^F F2 z|",
        "F#4 F4:2", "4/4", "C major", "96",
    ),
    "symbols of one's own": (
        "M:4/4\nL:1/4\nU:W = !segno!\nU:n = !D.S.!\nK:C\nC4|WD4|nE4|",
        "C4:4 D4:4 E4:4 D4:4 E4:4", "4/4", "C major", "96",
    ),
    "parts in order": ("M:4/4\nL:1/4\nP:AAB\nK:C\nP:A\nC4|\nP:B\nD4|", "C4:4 C4:4 D4:4", "4/4", "C major", "96"),
    "parts by figures and dots": (
        "M:4/4\nL:1/4\nP:A2.B3\nK:C\nP:A\nC4|\nP:B\nD4|",
        "C4:4 C4:4 D4:4 D4:4 D4:4", "4/4", "C major", "96",
    ),
    "parts within the line": ("M:4/4\nL:1/4\nP:ABA\nK:C\n[P:A]C4|[P:B]D4|", "C4:4 D4:4 C4:4", "4/4", "C major", "96"),
    "before the first part": (
        "M:4/4\nL:1/4\nP:AB\nK:C\nG4|\nP:A\nC4|\nP:B\nD4|",
        "G4:4 C4:4 D4:4", "4/4", "C major", "96",
    ),
    "a file's own head": ("T:Small\nM:4/4\nL:1/4\nK:C\nC4|", "C4:4", "4/4", "C major", "96"),
}  # fmt: skip


@pytest.mark.parametrize("name", HEADS)
def test_what_a_head_says_holds(name: str) -> None:
    text, notes, meter, key, tempo = HEADS[name]
    song, _ = imported(f"X:1\nT:Small Tune\n{text}\n")
    quarters = song.tempo * song.meter.pulse_beat * Fraction(4, song.meter.lower)
    assert (played(song), str(song.meter), str(song.key)) == (notes, meter, key)
    if tempo != "96":
        assert quarters == Fraction(tempo)


WORDS: dict[str, tuple[str, str]] = {
    "syllables and words": ("C D E F|\nw: ket-tle is hot", "ket- tle is hot"),
    "a held syllable": ("C D E F|\nw: time__ now", "time _ _ now"),
    "two words on a note": ("C D E F|\nw: of~the day is done", "of‿the day is done"),
    "a note without": ("C D E F|\nw: la * la la", "la _ la la"),
    "to the next bar": ("C D E F|G A B c|\nw: la | lo lo lo lo", "la _ _ _ lo lo lo lo"),
    "a double hyphen": ("C D E F|\nw: ket--tle hot", "ket- _ tle hot"),
    "a hyphen behind a space": ("C D E F|\nw: ket -tle hot", "ket- _ tle hot"),
    "hyphens between spaces, as many write them": ("C D E F|\nw: ket - tle is hot", "ket- tle is hot"),
    "a hyphen that is sung": ("C D E F|\nw: well\\-known tea is hot", "well‿known tea is hot"),
    "a verse's number": ("C D E F|\nw: 1.~Ket-tle is hot", "Ket- tle is hot"),
    "a verse's number and a space": ("C D E F|\nw: 1. Ket-tle is hot", "Ket- tle is hot"),
    "a verse's number in brackets": ("C D E F|\nw: (1) Ket-tle is hot", "Ket- tle is hot"),
    "a verse's number alone": ("C D E F|\nw: 1 Ket-tle is hot", "Ket- tle is hot"),
    "a number that is sung": ("C D E F|\nw: 99 ket-tles hot", "99 ket- tles hot"),
    "accents as TeX has them": ("C D E F|\nw: caf\\'e cr\\`eme M\\\"uller \\ss", "café crème Müller ß"),
    "accents as web pages have them": ("C D E F|\nw: caf&eacute; th&eacute; &amp; a", "café thé & a"),
    "an apostrophe": ("C D E F|\nw: don't can't won't ain't", "don't can't won't ain't"),
    "a per cent sign": ("C D E F|\nw: a\\% b c d % a comment", "a% b c d"),
    "rests are not sung": ("C z E F|\nw: a b c", "a b c"),
    "grace notes are not sung": ("{g}C D {ab}E F|\nw: a b c d", "a b c d"),
    "a chord is one note": ("[CE] D E F|\nw: a b c d", "a b c d"),
    "a line that goes on": ("C D E F|\nw: a b\\\nw: c d", "a b c d"),
    "a field that goes on": ("C D E F|\nw: a b\n+: c d", "a b c d"),
    "a comment between music and words": ("C D E F|\n% no words\nw: a b c d", "a b c d"),
    "a joined line of music": ("C D\\\nE F|\nw: a b c d", "a b c d"),
    "words after each line": ("C D E F|\nw: a b c d\nG A B c|\nw: e f g h", "a b c d e f g h"),
    "a line that ends within a bar": ("C D\nw: a b\nE F|G4|\nw: c d e", "a b c d e"),
    "two verses of a repeat": ("|:C D E F:|\nw: a b c d\nw: e f g h", "a b c d e f g h"),
    "two verses, numbered": ("|:C D E F:|\nw: 1. a b c d\nw: 2. e f g h", "a b c d e f g h"),
    "verses without a repeat": ("C D E F|\nw: a b c d\nw: e f g h", "a b c d e f g h"),
    "words of another voice": ("[V:1]C D E F|\nw: a b c d\n[V:2]C,4|\nw: bass", "a b c d"),
}


@pytest.mark.parametrize("name", WORDS)
def test_what_is_under_the_notes_is_what_is_sung(name: str) -> None:
    music, expected = WORDS[name]
    assert sung(imported(HEAD + music + "\n")[0]) == expected


@pytest.mark.parametrize(
    ("order", "expected"),
    [("AA", "a b c d"), ("ABA", "a b c d"), ("AAA", "a b c d c d")],
)
def test_each_visit_of_a_part_sings_its_own_line_of_words(order: str, expected: str) -> None:
    head = HEAD.replace("K:C", f"P:{order}\nK:C")
    song, _ = imported(head + "P:A\nC2 D2|\nw: a b\nw: c d\nP:B\nE2 F2|\n")
    assert sung(song) == expected


CHORDS: dict[str, tuple[str, str]] = {
    "plain": ('"C"C "Gm7"D "F#o"E "Bb"F|', "C Gm7 F#dim Bb"),
    "a bass": ('"C/E"C2 "D7/F#"D2|', "C/E D7/F#"),
    "a small bass": ('"A/c#"C2 "G/b"D2|', "A/C# G/B"),
    "in brackets": ('"(G)"C2 "[Am]"D2|', "G Am"),
    "two at once": ('"G;D"C2 "Am"D2|', "G Am"),
    "no chord": ('"N.C."C2 "C"D2|"NC"E4|', "N.C. C N.C."),
    "a small root": ('"am"C2 "em7"D2|', "Am Em7"),
    "flat and sharp signs": ('"B♭"C2 "F♯m"D2|', "Bb F#m"),
    "typographic quotes": ("“C”C2 “G7”D2|", "C G7"),
    "words beside chords": ('"^slow""C"C2 "G"D2|', "C G"),
}


@pytest.mark.parametrize("name", CHORDS)
def test_chords_above_the_notes(name: str) -> None:
    music, expected = CHORDS[name]
    assert chords(imported(HEAD + music + "\n")[0]) == expected


VOICES: dict[str, tuple[str, str]] = {
    "on lines": ("V:1\nC4|\nV:2\nE4|\nV:1\nD4|\n", "C4:4 D4:4"),
    "within lines": ("[V:1]C4|[V:2]E4|\n[V:1]D4|[V:2]F4|\n", "C4:4 D4:4"),
    "the one with words": ("V:1\nC4|\nV:2\nE4|\nw: sung\n", "E4:4"),
    "the first that has notes": ("V:1\nV:2\nE4|\n", "E4:4"),
    "a voice without a name is the first": ("C4|\nV:2\nE4|\n", "C4:4"),
    "an octave of its own": ("V:1 octave=-1\nC4|\nV:2\nE4|\n", "C3:4"),
    "a clef of its own": ("V:S clef=treble-8 name=Tenor\n[V:S]c4|\nV:B\nE4|\n", "C4:4"),
    "the other's octave": ("V:1\nV:2 octave=1\nV:1\nC4|\nV:2\nE4|\n", "C4:4"),
}


@pytest.mark.parametrize("name", VOICES)
def test_the_voice_that_has_the_tune(name: str) -> None:
    music, expected = VOICES[name]
    assert played(imported(HEAD + music)[0]) == expected


def test_voices_of_the_header_with_their_properties() -> None:
    head = HEAD.replace("K:C", 'V:T1 clef=treble-8 name="Tenor I" snm="T.I"\nV:B1 clef=bass octave=-2\nK:C')
    text = head + "%%score (T1 B1)\n[V:T1] c2 d2 |\n[V:B1] C4 |\n"
    assert played(imported(text)[0]) == "C4:2 D4:2"
    assert played(imported(text, voice="B1")[0]) == "C2:4"


@pytest.mark.parametrize("breaks", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_encodings_and_ends_of_lines(breaks: str, encoding: str) -> None:
    text = "X:1\nT:Caf\u00e9\nM:4/4\nL:1/4\nK:C\nC D E F|\nw: th\u00e9 b\u00fc c d\n".replace("\n", breaks)
    sheet = read_abc(text.encode(encoding), "book.abc")
    assert sheet.title == "Café"
    assert sung(imported_text(sheet, "book.abc")[1]) == "thé bü c d"


def test_a_character_set_that_the_file_names() -> None:
    text = "%abc-2.1\nI:abc-charset iso-8859-2\nX:1\nT:Ko\u0161\u00edk\nM:4/4\nL:1/4\nK:C\nC4|\n"
    assert read_abc(text.encode("iso8859-2"), "book.abc").title == "Košík"


def test_titles_with_accents_of_tex_and_of_web_pages() -> None:
    head = HEAD.replace("Small Tune", 'Th\\\'e &agrave; la "menthe" \\& \\O').replace("Q:", 'C:J\\"org\nQ:')
    sheet = read_abc((head + "C4|\n").encode(), "book.abc")
    assert (sheet.title, sheet.composer) == ('Thé à la "menthe" & \\O', "Jörg")


def test_a_book_without_numbers() -> None:
    book = "T:One\nM:4/4\nL:1/4\nK:C\nC4|\n\nT:Two\nM:4/4\nL:1/4\nK:G\nF4|\n"
    assert played(imported_text(read_abc(book.encode(), "book.abc", "two"), "book.abc")[1]) == "F#4:4"


def test_what_a_book_says_first_holds_for_all_its_tunes() -> None:
    book = "%abc-2.1\nL:1/2\nM:3/4\nU:k = !fine!\nfree text\n\nX:1\nT:One\nK:C\nC C/|\n\nX:2\nT:Two\nK:C\nD3/2|\n"
    assert played(imported_text(read_abc(book.encode(), "book.abc", "1"), "book.abc")[1]) == "C4:2 C4"


LINES: dict[str, tuple[str, tuple[int, ...]]] = {
    # name: (music, bars from 1 at which a line of music starts)
    "ends of lines": ("C4|D4|\nE4|F4|\n", (1, 3)),
    "a backslash": ("C4|D4|\\\nE4|F4|\nG4|\n", (1, 5)),
    "a comment behind the backslash": ("C4|D4|\\ % on\nE4|F4|\nG4|\n", (1, 5)),
    "a comment between": ("C4|D4|\\\n% on\nE4|F4|\nG4|\n", (1, 5)),
    "words between": ("C4|D4|\nw:a b\nE4|F4|\nw:c d\n", (1, 3)),
    "a dollar": ("C4|D4|$E4|F4|\n", (1, 3)),
    "an exclamation mark": ("C4|D4|!E4|F4|!\nG4|\n", (1, 3, 5)),
    "a line that starts late in a bar": ("C4|D3\nD|E4|F4|\n", (1, 3)),
    "a line that starts early in a bar": ("C4|D\nD3|E4|F4|\n", (1, 2)),
    "dollars alone": ("I:linebreak $\nC4|\nD4|$\nE4|\nF4|\n", (3,)),
    "none": ("I:linebreak <none>\nC4|\nD4|\nE4|\n", ()),
    "two voices": ("V:1\nC4|D4|\nV:2\nC4|D4|\nV:1\nE4|F4|\nV:2\nC4|C4|\n", (1, 3)),
}


@pytest.mark.parametrize("name", LINES)
def test_lines_of_music_are_those_of_the_source(name: str) -> None:
    music, expected = LINES[name]
    measures = read_abc((HEAD + music).encode(), "book.abc").measures
    assert tuple(at for at, measure in enumerate(measures, 1) if measure.new_line) == expected


REMARKS: dict[str, tuple[str, str]] = {
    "a part that is never played": ("P:AB\nK:C\nP:A\nC4|\nP:C\nE4|\nP:B\nD4|\n", "part C is left out"),
    "a part that there isn't": ("P:AC\nK:C\nP:A\nC4|\nP:B\nD4|\n", "the music has no part C"),
    "text below": (
        "K:C\nC4|\n\nThis was played at a fair.\n",
        "text below the tune is left out: “This was played",
    ),
    "no meter": ("M:\nK:C\nC2|D2|\n", "the tune has no meter: 2/4 is written"),
    "tempo in words": ('Q:"Gently"\nK:C\nC4|\n', "has no number and is left out"),
    "macros": ("m:~G = G\nK:C\nC4|\n", "macros (m:) are left out"),
    "symbols": ("K:C\nC4|\ns:!f!\n", "lines of symbols (s:) are left out"),
    "words below": ("K:C\nC4|\nW:the end\n", "words below the tune (W:)"),
    "ornaments": ("K:C\n~C2 Tc2|\n", "the decoration roll is left out"),
    "several chords": ('K:C\n"G;D"C4|\n', "the first of these chords is kept"),
    "quarter-tones": ("K:C\n^/C4|\n", "quarter-tones are left out"),
    "transposed": ("K:D transpose=2\nD4|\n", "sound 2 semitones above what is written"),
}


@pytest.mark.parametrize("name", REMARKS)
def test_what_is_lost_is_said(name: str) -> None:
    text, remark = REMARKS[name]
    _, remarks = imported(f"X:1\nT:Small\nM:4/4\nL:1/4\n{text}")
    assert any(remark in each for each in remarks), remarks
