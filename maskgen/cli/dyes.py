"""`maskgen dyes`: lists and checks a dye shelf."""

from __future__ import annotations

import click


@click.command("dyes")
@click.argument("shelf_path", metavar="[SHELF.toml]", required=False)
@click.option("--picture", metavar="FILE", help="Draw a chart of all dyes and two-dye mixtures, .png or .svg.")
@click.option("--json", "as_json", is_flag=True, help="Print the shelf and its findings as JSON.")
def command(shelf_path: str | None, picture: str | None, as_json: bool) -> int:
    """List and check a dye shelf; without one, the general sample shelf (invented values)."""
    import json
    from pathlib import Path

    from maskgen.colour.mix import ColourModel
    from maskgen.colour.shelf_check import check_shelf
    from maskgen.errors import InputError
    from maskgen.formats.folder import load, save
    from maskgen.formats.shelf import SAMPLE_NAME, read_shelf, sample_shelf
    from maskgen.report.shelf_chart import chart_png, chart_svg, shelf_chart
    from maskgen.report.shelf_table import shelf_document, shelf_table

    writers = {".svg": chart_svg, ".png": chart_png}
    if picture is not None and Path(picture).suffix.lower() not in writers:
        raise InputError(f"`{picture}` is neither .png nor .svg", where="--picture", mend="name a file of either kind")
    shelf = read_shelf(load(Path(shelf_path), what="dye shelf"), name=shelf_path) if shelf_path else sample_shelf()
    name = shelf_path or SAMPLE_NAME
    title = (
        f"Dye shelf {name}"
        if shelf_path
        else "The general sample shelf: every value invented, to be replaced by coupons"
    )
    model = ColourModel(shelf)
    remarks = check_shelf(model)
    if picture is not None:
        chart = shelf_chart(model, title=title)
        save(Path(picture), writers[Path(picture).suffix.lower()](chart))
    if as_json:
        click.echo(json.dumps(shelf_document(model, remarks, name=name), ensure_ascii=False, indent=2))
    else:
        from rich.console import Console

        Console().print(shelf_table(model, remarks, title=title))
    return int(any(remark.severity.value == "error" for remark in remarks))
