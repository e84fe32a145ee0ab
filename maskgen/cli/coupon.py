"""`maskgen coupon`: a test piece to cut and dye, and its measurements back into a resist profile."""

from __future__ import annotations

from pathlib import Path

import click

from maskgen.errors import InputError


@click.command("coupon")
@click.option("--out", metavar="DIR|FILE", help="The folder to make; with --read, the profile to write.")
@click.option("--read", "measured", metavar="MEASURED.csv", help="The filled list: gives the resist profile.")
@click.option("--part", metavar="plate:WxH", help="The plate, mm [plate:76.2x25.4].")
@click.option("--strips", type=int, metavar="N", help="Strips the first film goes through, 1 to 5 [3].")
@click.option("--dye", metavar="NAME", help="The dye to use [the darkest that bleach takes out].")
@click.option("--job", "job_path", metavar="JOB.toml", help="A job: its shelf, formats, sheets; what is not measured.")
@click.option("--shelf", metavar="FILE", help="The dye shelf.")
@click.option("--format", "formats", metavar="LIST", help="Cut files to write: svg,dxf,hpgl,pdf.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def command(
    out: str | None,
    measured: str | None,
    part: str | None,
    strips: int | None,
    dye: str | None,
    job_path: str | None,
    shelf: str | None,
    formats: str | None,
    as_json: bool,
) -> int:
    """Make a test piece (--out DIR), or read its measurements back into a resist profile (--read MEASURED.csv)."""
    if measured is not None:
        useless = {"--part": part, "--strips": strips, "--dye": dye, "--shelf": shelf, "--format": formats}
        for option, value in useless.items():
            if value is not None:
                raise InputError("means nothing with --read", where=option, mend="leave it out")
        return _read(measured, out=out, job_path=job_path, as_json=as_json)
    if out is None:
        raise InputError(
            "neither --out nor --read", where="coupon", mend="write coupon --out DIR, or --read MEASURED.csv"
        )
    return _make(out, part, 3 if strips is None else strips, dye, job_path, shelf, formats, as_json)


def _make(
    out: str,
    part: str | None,
    strips: int,
    dye: str | None,
    job_path: str | None,
    shelf: str | None,
    formats: str | None,
    as_json: bool,
) -> int:
    import dataclasses
    import json

    from maskgen.cli import load
    from maskgen.cli.coupon_files import coupon_files, is_ours, purposely_thin
    from maskgen.cli.options import read_part
    from maskgen.formats.folder import check_folder, save_folder
    from maskgen.formats.jobfile import CUT_FORMATS
    from maskgen.pipeline.coupon import make_coupon

    job = load.load_job(job_path)
    if formats is not None:
        wanted = tuple(word.strip() for word in formats.split(",") if word.strip())
        for word in wanted:
            if word not in CUT_FORMATS:
                raise InputError(f"unknown format `{word}`", where="--format", mend="known: " + ", ".join(CUT_FORMATS))
        job = dataclasses.replace(job, formats=wanted or ("svg",))
    job = dataclasses.replace(job, part=read_part(part) if part is not None else None, quantity=1)
    folder = Path(out)
    check_folder(folder, ours=is_ours)
    _check_unfilled(folder / "measured.csv")
    piece, result = make_coupon(
        job, shelf=load.load_shelf(job, job_path=job_path, option=shelf), strips=strips, dye=dye
    )
    files = coupon_files(piece, result)
    thin = purposely_thin(piece, result.job.resist)
    save_folder(folder, files)
    bath = result.plan.sequence.steps[0]
    if as_json:
        document = {
            "folder": str(folder),
            "files": sorted(files),
            "strips": strips,
            "dye": getattr(bath, "dye", ""),
            "size_mm": [piece.width_mm, piece.height_mm],
            "to_measure": len(piece.features),
            "thin_on_purpose": thin,
        }
        click.echo(json.dumps(document, indent=2, ensure_ascii=False))
        return 0
    names = {"thin-land": "thin lands", "narrow-gap": "narrow gaps", "small-piece": "small pieces"}
    click.echo(f"{folder}: a test piece of {piece.width_mm:g} x {piece.height_mm:g} mm, {len(piece.masks)} masks, "
               f"{getattr(bath, 'dye', '')}")  # fmt: skip
    click.echo("  work it by bench-sheet.pdf, read it by reading-sheet.pdf, write into measured.csv, then:")
    click.echo(f"  maskgen coupon --read {folder / 'measured.csv'}")
    if thin:
        told = ", ".join(f"{count} {names.get(code, code)}" for code, count in thin.items())
        click.echo(f"  thin and narrow on purpose: `maskgen check` will tell of {told}, and of no error")
    return 0


def _check_unfilled(path: Path) -> None:
    """Refuse to replace a list somebody has written into."""
    from maskgen.formats.measured_csv import read_measured
    from maskgen.shape.coupon import known_features

    if path.is_file():
        try:
            read_measured(path.read_bytes(), name=str(path), known=known_features())
        except InputError as error:
            if error.what == "nothing is filled in":
                return
        raise InputError("is filled in, or changed", where=str(path), mend="name another folder, or move it away")


def _check_profile(path: Path) -> None:
    """Refuse to replace anything but an older profile: a job file holds more than its `[resist]`."""
    from maskgen.formats.folder import load
    from maskgen.formats.records import parse_toml

    if not path.exists():
        return
    try:
        only = set(parse_toml(load(path, what="profile"), name=str(path))) == {"resist"}
    except InputError:
        only = False
    if not only:
        raise InputError("is no profile from here", where=str(path), mend="name a new file, and copy its values over")


def _read(measured: str, *, out: str | None, job_path: str | None, as_json: bool) -> int:
    from maskgen.cli import load
    from maskgen.cli.coupon_files import profile_json, profile_toml
    from maskgen.formats.folder import load as load_bytes
    from maskgen.formats.folder import save
    from maskgen.formats.measured_csv import read_measured
    from maskgen.model.finding import Severity
    from maskgen.plan.coupon_profile import resist_profile
    from maskgen.shape.coupon import known_features

    if out is not None:
        _check_profile(Path(out))
    base = load.load_job(job_path).resist
    data = load_bytes(Path(measured), what="list of measurements")
    profile = resist_profile(read_measured(data, name=measured, known=known_features()), base=base)
    text = profile_toml(profile)
    if out is not None:
        save(Path(out), text.encode())
    if as_json:
        click.echo(profile_json(profile))
    else:
        click.echo(text, nl=False)
        for remark in profile.remarks:
            click.echo(f"{remark.severity}: {remark.message}; {remark.mend}", err=True)
    return 1 if any(remark.severity is Severity.ERROR for remark in profile.remarks) else 0
