"""What every report says at its end: limits of the model, and what can hurt someone."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """A heading and one or two sentences."""

    title: str
    text: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "An estimate, not a design",
        "These are estimates for planning, not an installation design. Local codes and a licensed "
        "electrician or gas fitter come first; work on 230 V needs a qualified person.",
    ),
    Caution(
        "Fuses and cables",
        "Fuse every positive cable at its source. The fuse must be able to break the short-circuit "
        "current of a lithium battery. Put isolators on the panels and on the battery; panels are "
        "live whenever there is light.",
    ),
    Caution(
        "Lithium in the cold, lead and gas",
        "Do not charge lithium iron phosphate cells below 0 °C. Lead batteries give off explosive "
        "gas while charging: vent them to the outside.",
    ),
    Caution(
        "Food",
        "A predicted temperature is no guarantee that food is safe. Keep a thermometer in the "
        "fridge; when in doubt, throw it out. A small freezer box thaws in hours: the two days "
        "quoted for a full household freezer do not hold for it.",
    ),
    Caution(
        "Heaters and refrigerant",
        "Fit a carbon monoxide alarm, and use heaters that take combustion air from outside and "
        "send their fumes there. Never open a circuit filled with hydrocarbon refrigerant.",
    ),
    Caution(
        "Water",
        "Keep tanks and hoses clean and the water fresh: this tool counts litres, not germs. "
        "Parked unheated in frost, tanks and pipes can freeze and burst; drain them.",
    ),
    Caution(
        "Heat in a closed van",
        "Never leave people or pets in a closed van in the sun, whatever the figures here say.",
    ),
    Caution(
        "What is not checked",
        "Weather years are past, typical or generated; yours will differ. Shade is told by the "
        "kind of place, not by your tree. Real fridges differ from this model by up to a third; "
        "compare with your own battery monitor before you cut metal.",
    ),
)
"""Common practice and physics of the sheet behind the model; no substitute for local rules."""
