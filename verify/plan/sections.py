"""All sections of a plan file, and those of a set-up within it."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from verify.errors import PlanError
from verify.plan.motion_tables import (
    AmbientTable,
    FlashTable,
    LimitsTable,
    SensorTable,
    SubjectTable,
)
from verify.plan.tables import (
    CameraTable,
    CardTable,
    Name,
    ReadingTable,
    Table,
    ToleranceTable,
    UncertaintyTable,
    Words,
)

MOST_LAMPS = 32  # far more than a set has
FrameNumber = Annotated[
    str,
    Field(
        pattern=r"^\s*\d{1,18}\s*$", description='a frame number in quotation marks, such as "0123"'
    ),
]
# Not strict, for TOML has lists; what is in them is.
Lamps = Annotated[
    tuple[FlashTable, ...],
    Field(
        strict=False,
        max_length=MOST_LAMPS,
        description=f"a lamp is written [[flash]], in double brackets; up to {MOST_LAMPS} of them",
    ),
]


class SectionsTable(Table):
    """The sections that every set-up has, inherited or its own."""

    reading: ReadingTable | None = None
    camera: CameraTable = CameraTable()
    card: CardTable = CardTable()
    tolerance: ToleranceTable = ToleranceTable()
    uncertainty: UncertaintyTable = UncertaintyTable()
    flash: Lamps = ()
    subject: SubjectTable | None = None
    sensor: SensorTable = SensorTable()
    ambient: AmbientTable | None = None
    limits: LimitsTable = LimitsTable()


class SetUpTable(SectionsTable):
    """[[setup]]: changes some of the sections for the frames it names."""

    name: Name
    frames: Words | None = None
    start: Annotated[FrameNumber | None, Field(alias="from")] = None
    serial: Name | None = None

    @model_validator(mode="after")
    def _names_its_frames(self) -> Self:
        """A set-up that names no frames would never be used."""
        if not any((self.frames, self.start, self.serial)):
            msg = 'which frames? Give frames = "0123-0168", from = "0123" or serial = "..."'
            raise PlanError(msg)
        return self
