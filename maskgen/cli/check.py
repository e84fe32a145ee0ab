"""`maskgen check`: judges supplied cut files, and mends what can be mended."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from maskgen.check.cutfile import Analysis


@click.command("check")
@click.argument("files", metavar="CUTFILE...", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.option("--resist", metavar="FILE", help="Limits of the vinyl: a profile or job file with a [resist] table.")
@click.option("--part", metavar="SHAPE:SIZE", help="The part: plate:60x30, tube:25x80 or disc:32.")
@click.option("--sheet", metavar="WxH", help="The sheet it is cut from, mm (left out: film of the profile's width).")
@click.option("--polarity", default="inside", metavar="inside|outside",
              help="What the outermost lines enclose: vinyl that stays (inside), or an opening (outside).")  # fmt: skip
@click.option("--picture", metavar="FILE", help="Draw the file with every finding marked, .png or .svg.")
@click.option("--report", metavar="FILE.html", help="Write a page to look at.")
@click.option("--mend", "mend_to", metavar="FILE", help="Write the file put right, .svg, .dxf or .plt.")
@click.option("--against", metavar="JOBDIR", help="Compare it with the masks of this job.")
def command(
    files: tuple[str, ...],
    as_json: bool,
    resist: str | None,
    part: str | None,
    sheet: str | None,
    polarity: str,
    picture: str | None,
    report: str | None,
    mend_to: str | None,
    against: str | None,
) -> int:
    """Judge cut files (SVG, DXF, HPGL; folders of them): closed, the right size, will it hold?"""
    from maskgen.cli.check_files import check_one, expand, read_settings, tell
    from maskgen.errors import InputError
    from maskgen.formats.folder import save

    settings = read_settings(resist=resist, part=part, sheet=sheet, polarity=polarity)
    names = expand(files)
    if len(names) > 1 and (mend_to or picture):
        option = "--mend" if mend_to else "--picture"
        raise InputError(f"{len(names)} files are named", where=option, mend="name one file at a time")
    done, refused = [], 0
    for path, name in names:
        try:
            done.append(check_one(path, name, settings, mend_to=mend_to, against=against))
        except InputError as error:
            if len(names) == 1:
                raise
            refused += 1
            click.echo(f"maskgen: {error}", err=True)
    written: list[tuple[str, bytes]] = [pair for result in done for pair in result.written]
    if done and picture:
        written.append((picture, _picture(picture, done[0].analysis)))
    if done and report:
        from maskgen.report.check_page import write_check_page

        written.append((report, write_check_page([(r.analysis, r.repairs, r.comparison) for r in done])))
    for path_name, data in written:
        save(Path(path_name), data)
    tell(done, as_json=as_json, several=len(names) > 1, written=[name for name, _ in written])
    if refused:
        return 2
    return 1 if any(result.failed for result in done) else 0


def _picture(path: str, analysis: Analysis) -> bytes:
    from maskgen.errors import InputError
    from maskgen.report.check_picture import write_check_png, write_check_svg

    writers: dict[str, Any] = {".png": write_check_png, ".svg": write_check_svg}
    writer = writers.get(Path(path).suffix.lower())
    if writer is None:
        raise InputError(f"{path!r} is neither .png nor .svg", where="--picture", mend="name such a file")
    data: bytes = writer(analysis)
    return data
