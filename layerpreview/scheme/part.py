"""The part as written: its faces, their openings and zones, and its form."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, PlainValidator

from layerpreview.scheme import fields as f
from layerpreview.scheme.fields import Frozen
from layerpreview.surface.kept import KEPT
from layerpreview.surface.outline import SHAPES as BUILT_IN_SHAPES
from layerpreview.surface.outline import UNROLLED_SHAPES

WHOLE_FACE = "face"
NEAR_OUTLINE, NEAR_OPENINGS = "outline", "openings"
NEAR_LINE, NEAR_CENTRE = "line", "centre"
FROM_FILES = ("picture", "drawing")
SIDE, MIRRORED = "side", "mirrored"
SHAPES = (*BUILT_IN_SHAPES, SIDE, MIRRORED, *FROM_FILES)
OPENING_SHAPES = (*(shape for shape in BUILT_IN_SHAPES if shape not in UNROLLED_SHAPES), *FROM_FILES)
SIZES_OF_SHAPE: dict[str, tuple[str, ...]] = {
    "panel": ("width", "height"),
    "ellipse": ("width", "height"),
    "teardrop": ("width", "height"),
    "double bout": ("width", "height"),
    "disc": ("diameter",),
    "drum shell": ("diameter", "depth"),
    "tube": ("diameter", "length"),
    SIDE: ("depth",),
    MIRRORED: (),
}
REGIONS = ("shape", "points", "side", "band", "id")
Inside = Literal["light", "dark", "alpha", "object"]


def _kept(value: object) -> str:
    """Check a colour, or a surface by name."""
    if isinstance(value, str) and value.strip().startswith("#"):
        return f.colour(value)
    try:
        return f.choice(*KEPT)(value)
    except f.FieldError as error:
        raise f.FieldError(f"this must be {f.listed([*KEPT, 'a colour as #rrggbb'])}", error.remedy) from None


_TurnDeg = Annotated[float, PlainValidator(f.degrees(-360.0, 360.0))]


class Opening(Frozen):
    """A hole or cavity in a face; `centre_mm` is across and down from the top left corner of the face's box.

    `pocket_mm`: how deep it goes, for pictures only.
    """

    name: f.Text
    shape: Annotated[str, PlainValidator(f.choice(*OPENING_SHAPES))]
    width_mm: f.LengthMm | None = Field(None, alias="width")
    height_mm: f.LengthMm | None = Field(None, alias="height")
    diameter_mm: f.LengthMm | None = Field(None, alias="diameter")
    picture: f.FilePath | None = None
    drawing: f.FilePath | None = None
    centre_mm: f.PointMm = Field(alias="centre")
    turn_deg: _TurnDeg = Field(0.0, alias="turn")
    pocket_mm: f.LengthMm | None = Field(None, alias="depth")


class Side(Frozen):
    """All that lies on the right-hand side of a straight line through `at_mm`.

    `angle_deg` is where the line heads, clockwise from the top of the picture: at 0 the zone is what lies to the right,
    at 90 what lies below.
    """

    at_mm: f.PointMm = Field(alias="at")
    angle_deg: _TurnDeg = Field(alias="angle")


class Band(Frozen):
    """All that lies within `width_mm` of an edge: "outline", "openings" or the name of one opening of the face."""

    source: f.Text = Field(alias="from")
    width_mm: f.BurstWidthMm = Field(alias="width")


class Zone(Frozen):
    """A named region of a face, told in one way: `shape` (placed as an opening is), `points_mm`, `side`, `band`, or
    `drawn_id`, a closed line of the face's drawing.

    `edge_mm` is 0 for a hard tape line, else the whole width of a soft one; `ridge_mm` the width of the ridge a hard
    line leaves. A `masked` zone gets no paint from any coat; `under` is what it keeps, by name or as a colour.
    """

    name: f.Text
    shape: Annotated[str, PlainValidator(f.choice(*OPENING_SHAPES))] | None = None
    width_mm: f.LengthMm | None = Field(None, alias="width")
    height_mm: f.LengthMm | None = Field(None, alias="height")
    diameter_mm: f.LengthMm | None = Field(None, alias="diameter")
    picture: f.FilePath | None = None
    drawing: f.FilePath | None = None
    centre_mm: f.PointMm | None = Field(None, alias="centre")
    turn_deg: _TurnDeg = Field(0.0, alias="turn")
    points_mm: f.PolygonMm | None = Field(None, alias="points")
    side: Side | None = None
    band: Band | None = None
    drawn_id: f.Text | None = Field(None, alias="id")
    edge_mm: f.EdgeMm = Field(0.0, alias="edge")
    ridge_mm: f.RidgeMm | None = Field(None, alias="ridge")
    masked: f.Flag = False
    under: Annotated[str, PlainValidator(_kept)] | None = None

    @property
    def hard(self) -> bool:
        """Whether tape bounds it."""
        return self.edge_mm == 0.0


class Face(Frozen):
    """One flat picture of the part; which sizes are set depends on `shape` (see SIZES_OF_SHAPE).

    For a picture `width_mm` and `height_mm` are of the whole picture, `part_width_mm` and `part_height_mm` of the part
    in it, and `inside` says what the part is (None: the opaque or the light part). For a drawing the sizes are of the
    outline, and `outline_id` chooses it. A side goes all round the outer edge of the face `of`, `depth_mm` deep,
    unrolled; a mirrored face has the outline of `of` as it is seen from behind, and of its openings those in `through`.
    """

    name: f.Text
    shape: Annotated[str, PlainValidator(f.choice(*SHAPES))]
    width_mm: f.LengthMm | None = Field(None, alias="width")
    height_mm: f.LengthMm | None = Field(None, alias="height")
    diameter_mm: f.LengthMm | None = Field(None, alias="diameter")
    depth_mm: f.LengthMm | None = Field(None, alias="depth")
    length_mm: f.LengthMm | None = Field(None, alias="length")
    part_width_mm: f.LengthMm | None = Field(None, alias="part_width")
    part_height_mm: f.LengthMm | None = Field(None, alias="part_height")
    picture: f.FilePath | None = None
    drawing: f.FilePath | None = None
    inside: Annotated[Inside, PlainValidator(f.choice("light", "dark", "alpha", "object"))] | None = None
    outline_id: f.Text | None = None
    of: f.Text | None = None
    through: f.OpeningNames = ()
    openings: tuple[Opening, ...] = Field((), alias="opening")
    zones: tuple[Zone, ...] = Field((), alias="zone")

    @property
    def side_of(self) -> str | None:
        """The face that this side goes round; None where it is no side."""
        return self.of if self.shape == SIDE else None

    @property
    def mirror_of(self) -> str | None:
        """The face whose mirror image this one is; None where it has a shape of its own."""
        return self.of if self.shape == MIRRORED else None

    @property
    def traced(self) -> bool:
        """Whether the outline comes from a file, which may hold openings that the scheme does not name."""
        return self.picture is not None or self.drawing is not None


class Form(Frozen):
    """The body behind flat faces, for pictures only: radius of its edges, how far its middle stands out, its thickness.

    Where a face has a side, the side's depth is the thickness.
    """

    edge_radius_mm: f.FormMm | None = Field(None, alias="edge_radius")
    belly_mm: f.FormMm | None = Field(None, alias="belly")
    thickness_mm: f.LengthMm | None = Field(None, alias="thickness")


class RoomLamp(Frozen):
    """A soft lamp of one's own surroundings: where it stands, its size, and its power against the others."""

    from_deg: Annotated[float, PlainValidator(f.degrees(-360.0, 360.0))] = Field(315.0, alias="from")
    height_deg: Annotated[float, PlainValidator(f.degrees(5.0, 90.0))] = Field(50.0, alias="height")
    size_deg: Annotated[float, PlainValidator(f.degrees(0.0, 120.0))] = Field(20.0, alias="size")
    power: Annotated[float, PlainValidator(f.number(0.001, 1000.0))] = 1.0


class Room(Frozen):
    """Surroundings of one's own: the power of light from all round, and lamps; proportions alone matter."""

    even: Annotated[float, PlainValidator(f.number(0.001, 1000.0))] = 1.0
    lamps: tuple[RoomLamp, ...] = Field((), alias="lamp")
