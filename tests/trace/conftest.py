"""Label maps and partitions as the tests of tracing need them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from maskgen.geometry.polygons import to_polygon
from maskgen.model.artwork import FlatPicture, Picture
from maskgen.model.paths import Partition, signed_area

COLOURS = ("#ffffff", "#101010", "#c02020", "#2040c0", "#20a040")


def picture_of(labels: NDArray[np.integer]) -> FlatPicture:
    """Paint a label map without any edge smoothing."""
    count = int(labels.max()) + 1
    palette = COLOURS[:count]
    table = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] + [255] for c in palette], dtype=np.uint8)
    return FlatPicture(Picture(table[labels]), labels.astype(np.uint8), palette)


def assert_exact(partition: Partition) -> None:
    """Check with shapely that the regions cover the canvas once and every ring turns the right way."""
    polygons = []
    for region in partition.regions:
        for piece in region.area.pieces:
            assert signed_area(piece.outer) > 0
            assert all(signed_area(hole) < 0 for hole in piece.holes)
            polygon = to_polygon(piece, tolerance=0.01)
            assert polygon.is_valid, shapely.is_valid_reason(polygon)
            polygons.append(polygon)
    canvas = partition.width * partition.height
    assert sum(p.area for p in polygons) == pytest.approx(canvas, rel=1e-6)
    assert shapely.union_all(polygons).area == pytest.approx(canvas, rel=1e-6)
    assert shapely.union_all(polygons).bounds == pytest.approx((0, 0, partition.width, partition.height))


@pytest.fixture(scope="session")
def paint() -> Callable[[NDArray[np.integer]], FlatPicture]:
    """Give the painter of label maps."""
    return picture_of


@pytest.fixture(scope="session")
def exact() -> Callable[[Partition], None]:
    """Give the check of a partition."""
    return assert_exact
