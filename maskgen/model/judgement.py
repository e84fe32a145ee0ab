"""What is said about one drawing or job: its size, what it holds, and what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass

from maskgen.model.finding import Finding, failed


@dataclass(frozen=True, slots=True)
class Judgement:
    """The figures and findings of one file or job.

    `units` is the word for the unit the file states ("none" where it states none); `size_mm` the extent of all cut
    lines, `page_mm` the page where there is one. `cut_length_mm` counts every line once per time it would be cut.
    `notes` are plain sentences on what was assumed.
    """

    file: str
    units: str
    size_mm: tuple[float, float]
    pieces: int
    cut_length_mm: float
    nodes: int
    findings: tuple[Finding, ...]
    notes: tuple[str, ...] = ()
    page_mm: tuple[float, float] | None = None

    @property
    def verdict(self) -> str:
        """`fail` when an error stands, else `pass`."""
        return "fail" if failed(self.findings) else "pass"
