"""One datum of the evidence table: a change as its source states it, in SI."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

from optimizer.evidence.units import UNITS

if TYPE_CHECKING:
    from optimizer.evidence.properties import Channel
    from optimizer.evidence.units import Unit

__all__ = ["TESTS", "Datum", "Figure", "Measurer", "TestKind"]

TestKind = Literal["tunnel with rider", "tunnel without rider", "field", "velodrome",
                   "bench", "computed", "rule of thumb"]
TESTS: tuple[TestKind, ...] = get_args(TestKind)

Measurer = Literal["independent", "seller", "estimate", ""]


@dataclass(frozen=True)
class Figure:
    """A change in the unit of its source.

    Attributes
    ----------
    quantity : what the number counts, a name in `optimizer.evidence.units.UNITS`
    value : change of that quantity in SI: N, W, s, share of one, m², 1, 1, kg. Negative is
        less of it, so that a saving is negative and a gain of efficiency positive.
    speed : m/s, air speed of the test; for a time, the speed before the change
    power : W at the cranks at which the test or the claim was made
    distance : m, for a time
    acts_on : what the change acts on: air drag, rolling resistance, drivetrain, mass
    text : as the source wrote it
    uncertainty : standard deviation in the unit of `value`, where the text itself states one
    unit : of the number as the source wrote it, for an uncertainty beside it
    at_cranks : whether watts are those of the cranks; at the wheel otherwise
    read_as : how the text was understood where it leaves something out, empty where it does not
    """

    quantity: str
    value: float
    speed: float | None = None
    power: float | None = None
    distance: float | None = None
    acts_on: Channel = "drag_area"
    text: str = ""
    uncertainty: float | None = None
    unit: str = ""
    at_cranks: bool = False
    read_as: str = ""

    @property
    def counts(self) -> Unit:
        """What the number counts, with the ways to and from a change of kit."""
        return UNITS[self.quantity]


@dataclass(frozen=True)
class Datum:
    """A row of the evidence table, read and checked.

    Attributes
    ----------
    item, baseline : the change is of `item` against `baseline`
    figure : as stated
    test : how it was found
    measured_by : who found it; "estimate" where nobody measured, "" where the source does not
        say
    yaw : rad, lowest and highest angle (equal for one angle); None where it is not stated
    air_density : kg/m³, None where it is not stated
    runs : number of runs behind the figure, None where it is not stated
    uncertainty : standard deviation in the SI unit of the figure, None where it is not stated
    note, source : in words
    place : file and row, for messages
    """

    item: str
    figure: Figure
    test: TestKind
    baseline: str = ""
    measured_by: Measurer = ""
    yaw: tuple[float, float] | None = None
    air_density: float | None = None
    runs: int | None = None
    uncertainty: float | None = None
    note: str = ""
    source: str = ""
    place: str = ""
