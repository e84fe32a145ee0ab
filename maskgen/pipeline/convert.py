"""The main job: artwork to regions, dye order, masks, simulated baths, sheets and findings."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from maskgen.check.resolution import resolution_finding
from maskgen.colour.mix import ColourModel
from maskgen.errors import InputError
from maskgen.model.artwork import CLEAR, TracedArtwork
from maskgen.model.dyeing import ApplyMask, Plan, Shelf, Strip
from maskgen.model.finding import Finding, Severity
from maskgen.model.job import ColourEntry, Job, Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, Partition, Point, affine, area_of
from maskgen.model.result import JobResult
from maskgen.pipeline.finish import Progress, finish_masks
from maskgen.pipeline.ordering import order_dyes
from maskgen.pipeline.size import settle_size
from maskgen.pipeline.wanted import GROUND, NamedColour, matched_keys, name_artwork_colours, wanted_colours
from maskgen.plan.estimate import estimate
from maskgen.plan.finished import contrast_findings, unreached_findings
from maskgen.plan.forgiveness import forgive
from maskgen.plan.rims import rim_notes
from maskgen.shape.face import place_artwork
from maskgen.shape.islands import settle_islands
from maskgen.shape.nest import nest
from maskgen.shape.smallest import Stage, smallest_size

NOTHING_MM2 = 1e-6
"""Less than this is no region: what clipping leaves of a colour that lies beyond the part."""


def convert(job: Job, *, shelf: Shelf, artwork: TracedArtwork, progress: Progress = lambda step: None) -> JobResult:
    """Turn traced artwork into a finished job.

    Raises
    ------
    InputError
        When the job cannot be done as it is stated: sizes, dyes, no possible dye order.
    """
    drawn = artwork.partition
    job = settle_size(job, aspect=drawn.width / drawn.height, drawn_mm=artwork.width_mm)
    assert job.artwork is not None
    assert job.artwork.width_mm is not None
    assert job.part is not None
    model = ColourModel(shelf)
    progress("placing the artwork on the part")
    colours = _name_colours(artwork.partition, job)
    if not colours:
        raise InputError(
            "nothing of it is seen", where=job.artwork.file, mend="it is wholly transparent; export it anew"
        )
    placed = place_artwork(
        named_regions(artwork.partition, colours),
        part=job.part,
        width_mm=job.artwork.width_mm,
        height_mm=job.artwork.height_mm,
        at_mm=job.artwork.at_mm,
        holes=job.hole,
        ground_key=ground_key(job, colours),
    )
    regions = with_ground(placed.partition, colours)
    progress("settling islands")
    settled = settle_islands(regions, resist=job.resist, choices=job.island)
    progress("ordering the dyes")
    plan = _plan(settled.partition, colours, job, model)
    regions = with_ground_colour(settled.partition, plan)
    finished = finish_masks(regions, plan, job, colour_of=lambda r: model.predict(r).colour, progress=progress)
    masks = finished.masks
    check_vinyl(masks)
    progress("placing the masks a little off")
    forgiveness = forgive(regions, plan, masks, **finished.bath)
    progress("checking")
    findings = (
        *_on_the_face(artwork.findings, scale=placed.scale, shift=placed.at_mm),
        *_resolution(artwork, job),
        *placed.findings,
        *settled.findings,
        *unreached_findings(plan, matched=matched_keys(colours), tolerance_delta_e=job.finish.match_delta_e),
        *contrast_findings(plan, neighbours(regions)),
        *finished.findings,
    )
    progress("searching for the smallest size")
    smallest = smallest_size(regions, mask_stages(plan, job.resist), wanted_mm=job.artwork.width_mm, resist=job.resist)
    progress("laying out the sheets")
    sheets = nest(masks, quantity=job.quantity, resist=job.resist, settings=job.sheets, face_mm=job.part.face_mm)
    return JobResult(
        job=_repeatable(job, colours),
        shelf=shelf,
        plan=plan,
        regions=regions,
        masks=masks,
        sheets=sheets,
        simulation=finished.simulation,
        findings=in_order(findings),
        artwork=artwork.flat.picture if artwork.flat else None,
        forgiveness=forgiveness,
        island_changes=settled.changes,
        smallest=smallest,
        estimate=estimate(job, plan=plan, shelf=shelf, masks=masks, sheets=sheets),
        notes=(*artwork.notes, *rim_notes(plan, masks, holes=job.hole, creep_mm=job.resist.creep_mm)),
    )


def check_vinyl(masks: Sequence[Mask]) -> None:
    """Refuse a job in which a mask would hold nothing.

    Raises
    ------
    InputError
        With the mask and what may have taken its vinyl.
    """
    for mask in masks:
        if not mask.area.pieces:
            raise InputError(
                f"mask {mask.number} over {mask.name} would hold no vinyl",
                where="job",
                mend="see whether [[hole]] takes all of that colour, or make the artwork larger",
            )


def _on_the_face(findings: Sequence[Finding], *, scale: float, shift: Point) -> tuple[Finding, ...]:
    """Bring places in the artwork's units to the face."""
    move = affine(scale, shift)
    return tuple(dataclasses.replace(f, at_mm=move(f.at_mm)) if f.at_mm is not None else f for f in findings)


def in_order(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Sort findings worst first, then by kind, mask and place; the same finding stands once."""
    rank = list(Severity)
    return tuple(
        sorted(
            dict.fromkeys(findings),
            key=lambda f: (rank.index(f.severity), f.code, f.mask or "", f.piece or 0, f.at_mm or (-1.0, -1.0)),
        )
    )


def _name_colours(partition: Partition, job: Job) -> tuple[NamedColour, ...]:
    palette = [region.colour for region in partition.regions if region.colour != CLEAR]
    return name_artwork_colours(palette, job.colour)


def named_regions(partition: Partition, colours: Sequence[NamedColour]) -> Partition:
    """Give the artwork's regions the names and ids of the job."""
    by_source = iter(colours)
    regions = []
    for region in partition.regions:
        if region.colour == CLEAR:
            regions.append(region)
            continue
        named = next(by_source)
        regions.append(dataclasses.replace(region, key=named.key, name=named.name, colour=named.source))
    return dataclasses.replace(partition, regions=tuple(regions))


def ground_key(job: Job, colours: Sequence[NamedColour]) -> str:
    """Say which region the part outside the artwork belongs to: the ground, or the colour it is part of."""
    same = job.ground.colour if job.ground else None
    return next((colour.key for colour in colours if same is not None and colour.name == same), GROUND)


def with_ground(partition: Partition, colours: Sequence[NamedColour]) -> Partition:
    """Bring the regions into the order of their ids; a ground of its own comes last, with the next id."""
    regions = {region.key: region for region in partition.regions if area_of(region.area) > NOTHING_MM2}
    named = {colour.key: colour for colour in colours}
    ordered = [
        dataclasses.replace(regions[key], name=named[key].name, colour=named[key].source)
        for key in sorted(named, key=lambda key: int(key[1:]))
        if key in regions
    ]
    if GROUND in regions:
        ordered.append(dataclasses.replace(regions[GROUND], key=f"r{len(colours) + 1}", name=GROUND))
    return dataclasses.replace(partition, regions=tuple(ordered))


def _plan(regions: Partition, colours: Sequence[NamedColour], job: Job, model: ColourModel) -> Plan:
    present = {region.key: region for region in regions.regions}
    wanted = wanted_colours(
        [named for named in sorted(colours, key=lambda c: int(c.key[1:])) if named.key in present],
        model,
        job,
        ground_key=next((region.key for region in regions.regions if region.name == GROUND), None),
        hand_work={key: hand_work(region.area) for key, region in present.items()},
    )
    if not wanted:
        raise InputError("the part has no area", where="part", mend="check its measures")
    plan = order_dyes(wanted, model, finish=job.finish, matched=matched_keys(colours))
    sizes = {region.key: round(area_of(region.area), 4) for region in regions.regions}
    return dataclasses.replace(plan, regions=tuple(dataclasses.replace(r, area_mm2=sizes[r.key]) for r in plan.regions))


def mask_stages(plan: Plan, resist: Resist) -> tuple[Stage, ...]:
    """Give the plan's masks with the most each is grown: its creep in every strip that follows it."""
    steps = plan.sequence.steps
    return tuple(
        Stage(step.mask, step.regions, resist.creep_mm * sum(isinstance(s, Strip) for s in steps[index:]))
        for index, step in enumerate(steps)
        if isinstance(step, ApplyMask)
    )


def neighbours(regions: Partition) -> tuple[tuple[str, str], ...]:
    """Give every pair of regions that share a boundary, by id."""
    beside = {segment: r.key for r in regions.regions for ring in r.area.rings for segment in ring.segments}
    pairs = {
        (min(key, other), max(key, other))
        for segment, key in beside.items()
        if (other := beside.get(segment.reversed())) is not None and other != key
    }
    return tuple(sorted(pairs))


def hand_work(area: Area) -> float:
    """Say how much work masking an area is, in pieces to place: every piece, small ones twice, and the weeding.

    Common practice, no source: a piece under 10 mm2 wants tweezers; weeding takes about as long per 5 cm2 or per
    hole as placing a piece.
    """
    small = sum(1 for piece in area.pieces if area_of(Area((piece,))) < 10.0)
    holes = sum(len(piece.holes) for piece in area.pieces)
    return len(area.pieces) + small + holes + area_of(area) / 500.0


def with_ground_colour(regions: Partition, plan: Plan) -> Partition:
    """Give the ground the colour its recipe is predicted to have."""
    predicted = {region.key: region.predicted for region in plan.regions}
    return dataclasses.replace(
        regions,
        regions=tuple(
            dataclasses.replace(r, colour=predicted[r.key]) if r.name == GROUND else r for r in regions.regions
        ),
    )


def _resolution(artwork: TracedArtwork, job: Job) -> tuple[Finding, ...]:
    if artwork.flat is None:
        return ()
    assert job.artwork is not None
    assert job.artwork.width_mm is not None
    return resolution_finding(artwork.flat, width_mm=job.artwork.width_mm, resist=job.resist)


def _repeatable(job: Job, colours: Sequence[NamedColour]) -> Job:
    """List every colour of the artwork in the job, so that a person sees what there is to decide."""
    entries = [
        dataclasses.replace(named.entry or ColourEntry(named.source), name=named.name)
        for named in sorted(colours, key=lambda c: int(c.key[1:]))
    ]
    return dataclasses.replace(job, colour=tuple(entries))
