"""`maskgen plan`: the dye order alone, from colours and shelf."""

from __future__ import annotations

import click


@click.command("plan")
@click.argument("job_path", metavar="JOB.toml")
@click.option("--shelf", metavar="FILE", help="The dye shelf.")
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON.")
def command(job_path: str, shelf: str | None, as_json: bool) -> int:
    """Find the order of dyes that needs the fewest strips for the colours of JOB.toml."""
    from maskgen.cli import load
    from maskgen.formats.plan_json import write_plan
    from maskgen.pipeline.plan_only import plan_colours

    job = load.load_job(job_path)
    plan_shelf = load.load_shelf(job, job_path=job_path, option=shelf)
    plan = plan_colours(job, shelf=plan_shelf, name=job_path)
    if as_json:
        click.echo(write_plan(plan).decode(), nl=False)
    else:
        from rich.console import Console

        from maskgen.report.plan_table import plan_table

        Console().print(plan_table(plan, plan_shelf))
    return 0
