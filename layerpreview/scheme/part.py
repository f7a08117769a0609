"""The part as written: its faces, their openings and zones, and its form."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, PlainValidator

from layerpreview.scheme import fields as f
from layerpreview.scheme.fields import Frozen
from layerpreview.scheme.taken import TEXT, takes
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


@takes(f"{', '.join(KEPT)}, or a colour", {"anyOf": [{"enum": [*KEPT]}, TEXT]})
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

    name: f.Text = Field(
        description="What it is called; bursts, bands and mirrored faces name it.", examples=["sound hole"]
    )
    shape: Annotated[str, PlainValidator(f.choice(*OPENING_SHAPES))] = Field(
        description="Its shape, or where its edge comes from.", examples=["disc"]
    )
    width_mm: f.LengthMm | None = Field(
        None, alias="width", description="Width; of a picture, of the whole picture.", examples=["44 mm"]
    )
    height_mm: f.LengthMm | None = Field(None, alias="height", description="Height.", examples=["60 mm"])
    diameter_mm: f.LengthMm | None = Field(
        None, alias="diameter", description="Diameter of a disc.", examples=["36 mm"]
    )
    picture: f.FilePath | None = Field(None, description="A mask picture of it.", examples=["hole.png"])
    drawing: f.FilePath | None = Field(None, description="An SVG drawing of it, in true size.", examples=["hole.svg"])
    centre_mm: f.PointMm = Field(
        alias="centre",
        description="Its middle, across and down from the top left corner of the face's box.",
        examples=[["150 mm", "90 mm"]],
    )
    turn_deg: _TurnDeg = Field(0.0, alias="turn", description="Turned clockwise by this.", examples=[15])
    pocket_mm: f.LengthMm | None = Field(
        None, alias="depth", description="How deep it goes; for pictures only.", examples=["40 mm"]
    )


class Side(Frozen):
    """All that lies on the right-hand side of a straight line through `at_mm`.

    `angle_deg` is where the line heads, clockwise from the top of the picture: at 0 the zone is what lies to the right,
    at 90 what lies below.
    """

    at_mm: f.PointMm = Field(
        alias="at", description="A point of the line, across and down.", examples=[["150 mm", "90 mm"]]
    )
    angle_deg: _TurnDeg = Field(
        alias="angle",
        description="Where the line heads, clockwise from the top: at 0 the zone lies to its right, at 90 below it.",
        examples=[90],
    )


class Band(Frozen):
    """All that lies within `width_mm` of an edge: "outline", "openings" or the name of one opening of the face."""

    source: f.Text = Field(
        alias="from", description="The edge: outline, openings, or the name of one opening.", examples=["outline"]
    )
    width_mm: f.BurstWidthMm = Field(
        alias="width", description="How far from the edge the zone goes.", examples=["12 mm"]
    )


class Zone(Frozen):
    """A named region of a face, told in one way: `shape` (placed as an opening is), `points_mm`, `side`, `band`, or
    `drawn_id`, a closed line of the face's drawing.

    `edge_mm` is 0 for a hard tape line, else the whole width of a soft one; `ridge_mm` the width of the ridge a hard
    line leaves. A `masked` zone gets no paint from any coat; `under` is what it keeps, by name or as a colour.
    """

    name: f.Text = Field(description="What it is called; coats and bursts name it.", examples=["head"])
    shape: Annotated[str, PlainValidator(f.choice(*OPENING_SHAPES))] | None = Field(
        None, description="Told by a shape, placed as an opening is.", examples=["panel"]
    )
    width_mm: f.LengthMm | None = Field(None, alias="width", description="Width of the shape.", examples=["44 mm"])
    height_mm: f.LengthMm | None = Field(None, alias="height", description="Height of the shape.", examples=["160 mm"])
    diameter_mm: f.LengthMm | None = Field(
        None, alias="diameter", description="Diameter of a disc.", examples=["80 mm"]
    )
    picture: f.FilePath | None = Field(None, description="A mask picture of it.", examples=["zone.png"])
    drawing: f.FilePath | None = Field(None, description="An SVG drawing of it, in true size.", examples=["zone.svg"])
    centre_mm: f.PointMm | None = Field(
        None,
        alias="centre",
        description="The middle of the shape, across and down from the top left corner of the face's box.",
        examples=[["160 mm", "62 mm"]],
    )
    turn_deg: _TurnDeg = Field(0.0, alias="turn", description="The shape turned clockwise by this.", examples=[15])
    points_mm: f.PolygonMm | None = Field(
        None,
        alias="points",
        description="Told by its corners, in order.",
        examples=[[["10 mm", "20 mm"], ["90 mm", "20 mm"], ["50 mm", "80 mm"]]],
    )
    side: Side | None = Field(
        None,
        description="Told as all that lies on one side of a straight line.",
        examples=[{"at": ["150 mm", "90 mm"], "angle": 90}],
    )
    band: Band | None = Field(
        None,
        description="Told as all that lies within a distance of an edge.",
        examples=[{"from": "outline", "width": "12 mm"}],
    )
    drawn_id: f.Text | None = Field(
        None, alias="id", description="Told as a closed line of the face's drawing, by its id.", examples=["fretboard"]
    )
    edge_mm: f.EdgeMm = Field(
        0.0,
        alias="edge",
        description="Its border: a hard tape line, or a soft one and how wide that is in all.",
        examples=["4 mm"],
    )
    ridge_mm: f.RidgeMm | None = Field(
        None,
        alias="ridge",
        description="Width of the ridge that the tape leaves; for pictures only.",
        examples=["0.4 mm"],
    )
    masked: f.Flag = Field(False, description="Taped off: no coat reaches it.", examples=[True])
    under: Annotated[str, PlainValidator(_kept)] | None = Field(
        None, description="What a masked zone keeps and shows.", examples=["maple"]
    )

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

    name: f.Text = Field(
        description="What it is called; coats, bases of single faces and sides name it.", examples=["front"]
    )
    shape: Annotated[str, PlainValidator(f.choice(*SHAPES))] = Field(
        description="Its shape, or where its outline comes from. Each shape has sizes of its own.", examples=["ellipse"]
    )
    width_mm: f.LengthMm | None = Field(
        None,
        alias="width",
        description="Width; of a picture, of the whole picture; of a drawing, of its outline.",
        examples=["300 mm"],
    )
    height_mm: f.LengthMm | None = Field(None, alias="height", description="Height, likewise.", examples=["240 mm"])
    diameter_mm: f.LengthMm | None = Field(
        None, alias="diameter", description="Diameter of a disc, a drum shell or a tube.", examples=["14 in"]
    )
    depth_mm: f.LengthMm | None = Field(
        None, alias="depth", description="Depth of a drum shell or a side.", examples=["60 mm"]
    )
    length_mm: f.LengthMm | None = Field(None, alias="length", description="Length of a tube.", examples=["600 mm"])
    part_width_mm: f.LengthMm | None = Field(
        None, alias="part_width", description="Of a picture: the true width of the part in it.", examples=["320 mm"]
    )
    part_height_mm: f.LengthMm | None = Field(
        None, alias="part_height", description="Of a picture: the true height of the part in it.", examples=["450 mm"]
    )
    picture: f.FilePath | None = Field(
        None, description="A mask picture or a photo that the outline is traced from.", examples=["mask.png"]
    )
    drawing: f.FilePath | None = Field(None, description="An SVG drawing, in true size.", examples=["front.svg"])
    inside: Annotated[Inside, PlainValidator(f.choice("light", "dark", "alpha", "object"))] | None = Field(
        None,
        description="Of a picture: what the part is, the light, the dark, what is opaque, or the object in a photo.",
        examples=["dark"],
    )
    outline_id: f.Text | None = Field(
        None, description="Of a drawing: the id of the line that is the outline.", examples=["body"]
    )
    of: f.Text | None = Field(
        None, description="Of a side or a mirrored face: the face that it belongs to.", examples=["front"]
    )
    through: f.OpeningNames = Field(
        (), description="Of a mirrored face: the openings that go right through.", examples=[["opening 1"]]
    )
    openings: tuple[Opening, ...] = Field(
        (),
        alias="opening",
        description="Holes and cavities, which get no paint.",
        examples=[[{"name": "sound hole", "shape": "disc", "diameter": "36 mm", "centre": ["150 mm", "90 mm"]}]],
    )
    zones: tuple[Zone, ...] = Field(
        (),
        alias="zone",
        description="Named regions that coats go over, or that are taped off.",
        examples=[[{"name": "head", "side": {"at": ["150 mm", "90 mm"], "angle": 0}}]],
    )

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

    edge_radius_mm: f.FormMm | None = Field(
        None, alias="edge_radius", description="Radius of the edges.", examples=["6 mm"]
    )
    belly_mm: f.FormMm | None = Field(
        None, alias="belly", description="How far the middle stands out.", examples=["12 mm"]
    )
    thickness_mm: f.LengthMm | None = Field(
        None, alias="thickness", description="Thickness, where no side says it.", examples=["40 mm"]
    )


class RoomLamp(Frozen):
    """A soft lamp of one's own surroundings: where it stands, its size, and its power against the others."""

    from_deg: Annotated[float, PlainValidator(f.degrees(-360.0, 360.0))] = Field(
        315.0, alias="from", description="Where it stands, clockwise from the top of the picture.", examples=[315]
    )
    height_deg: Annotated[float, PlainValidator(f.degrees(5.0, 90.0))] = Field(
        50.0, alias="height", description="How high it stands over the face.", examples=[50]
    )
    size_deg: Annotated[float, PlainValidator(f.degrees(0.0, 120.0))] = Field(
        20.0, alias="size", description="How large it looks.", examples=[20]
    )
    power: Annotated[float, PlainValidator(f.number(0.001, 1000.0))] = Field(
        1.0, description="Its power against the other lamps and the light from all round.", examples=[2]
    )


class Room(Frozen):
    """Surroundings of one's own: the power of light from all round, and lamps; proportions alone matter."""

    even: Annotated[float, PlainValidator(f.number(0.001, 1000.0))] = Field(
        1.0, description="Power of the light that comes from all round.", examples=[1]
    )
    lamps: tuple[RoomLamp, ...] = Field(
        (), alias="lamp", description="Its lamps.", examples=[[{"from": 315, "height": 50, "size": 20, "power": 2}]]
    )
