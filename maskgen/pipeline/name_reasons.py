"""Why a row of a name list is refused or wants looking at, in the words of whoever reads the list."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from maskgen.errors import InputError
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.paths import Point

_MEND = "use smaller letters or another place for their box"


def of_error(error: Exception) -> str:
    """Give an error without the key or file it names: the customer has neither."""
    if isinstance(error, InputError):
        return f"{error.what}; {error.mend}" if error.mend else error.what
    return str(error)


def off_the_face(face_mm: Point) -> str:
    """Say that none of the letters are on the part."""
    return f"the letters lie beside the part's face of {face_mm[0]:g} x {face_mm[1]:g} mm; move their box onto it"


def unseen(share: float) -> str:
    """Say that letters have the colour of what they lie on; `share` of them cannot be seen."""
    how_much = "all" if share > 0.99 else f"{share:.0%}"
    return f"{how_much} of the letters would not be seen: what they lie on has the same colour; choose another colour"


def nothing_left(mask: str) -> str:
    """Say that a mask of the dye order has no film."""
    return (
        f"no film would be left for mask {mask}: holes, the part's edge or dropped islands take all of it; "
        "use larger letters or another place for their box"
    )


def lost_letters(count: int, least_mm2: float) -> str:
    """Say that whole letters would be dropped as islands."""
    return (
        f"{_counted(count, 'letter')} would be left out: smaller than a piece that can be handled ({least_mm2:g} mm²), "
        "and small pieces are dropped; use larger letters, or keep islands"
    )


def lost_parts(pieces: int, counters: int) -> str:
    """Say what of the letters is dropped as islands, where every letter is still there."""
    parts = [
        f"{_counted(pieces, 'small part')} of letters (dots, accents) left out" if pieces else "",
        f"{_counted(counters, 'small opening')} of letters filled" if counters else "",
    ]
    return "; ".join(part for part in parts if part)


def refusal(finding: Finding) -> str:
    """Give the reason why a fault of the letters refuses a row."""
    value = finding.value or 0.0
    if finding.code is Code.OFF_PART:
        return f"the letters run {value:.2f} mm over the part's edge; {_MEND}"
    if finding.code is Code.CREEP_OVERRUN:
        return (
            f"bleach creeps through a stroke {value:.2f} mm wide before the seal; "
            "use larger letters, a bolder font, or a resist that creeps less"
        )
    if finding.code is Code.LOOSE_ISLAND:
        return (
            "a piece inside a letter is held by nothing, and a stencil takes no loose pieces; "
            'have islands tied (`islands = "bridge"`) or use a carrier that holds them'
        )
    return f"{finding.message}; {finding.mend}"


def summed_up(findings: Sequence[Finding]) -> str:
    """Say in one line what a person should look at."""
    kinds: dict[Callable[[int], str], list[Finding]] = {}
    for finding in findings:
        kinds.setdefault(_words_of(finding), []).append(finding)
    parts = []
    for words, members in kinds.items():
        unit = _UNITS.get(members[0].code, "")
        values = [f.value for f in members if f.value is not None]
        parts.append(words(len(members)) + (f", least {min(values):.2f} {unit}" if unit and values else ""))
    return "; ".join(parts)


_UNITS = {Code.NARROW_GAP: "mm", Code.THIN_LAND: "mm", Code.SMALL_PIECE: "mm²"}


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _gap(count: int) -> str:
    return f"{_counted(count, 'opening')} narrower than dye and bleach surely reach"


def _thin(count: int) -> str:
    return f"{_counted(count, 'place')} of thin or pointed film"


def _small(count: int) -> str:
    return f"{_counted(count, 'piece')} small enough to be lost in weeding"


def _loose(count: int) -> str:
    return f"{_counted(count, 'loose piece')} inside letters"


def _over_hole(count: int) -> str:
    return f"letters lie over {'a hole' if count == 1 else f'{count} holes'}"


def _near_edge(count: int) -> str:
    return "letters come close to the part's edge"


def _round_tube(count: int) -> str:
    return "the letters go more than half way round the tube: their ends are not seen at once"


def _over_edge(count: int) -> str:
    return "artwork runs over the part's edge"


def _creep(count: int) -> str:
    return f"bleach creeps through film in {_counted(count, 'place')}"


_WORDS = {
    Code.NARROW_GAP: _gap,
    Code.SMALL_PIECE: _small,
    Code.LOOSE_ISLAND: _loose,
    Code.THIN_LAND: _thin,
    Code.CREEP_OVERRUN: _creep,
}


def _words_of(finding: Finding) -> Callable[[int], str]:
    if finding.code is Code.OFF_PART:
        return _off_part_words(finding)
    return _WORDS.get(finding.code, lambda count: finding.message)


def _off_part_words(finding: Finding) -> Callable[[int], str]:
    """Tell the four kinds apart by what they measure."""
    if finding.value is None or finding.limit is None:
        return _over_hole
    if finding.severity is Severity.ERROR:
        return _over_edge
    return _near_edge if finding.value < finding.limit else _round_tube
