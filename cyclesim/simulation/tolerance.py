"""How far a plant is from what its sheet and the model say, where no key of the file says it: as factors."""

from dataclasses import dataclass

from cyclesim.physics.walls import AS_ASSUMED, Off


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Factors on numbers of the model; all 1 for the plant as it is told."""

    fittings: float = 1.0
    """On the loss coefficient K of every fitting."""
    roughness: float = 1.0
    """On the roughness of smooth pipe; a rougher one stays as it is where it is rougher still."""
    walls: Off = AS_ASSUMED
    soil_depth: float = 1.0
    """On the depth of soil zones: another diffusivity is felt like another depth; pipes stay in theirs."""
    activity: float = 1.0
    """On how readily open water evaporates and gives off heat to the air."""
    emissivity: float = 1.0
    bather_heat: float = 1.0
    bather_water: float = 1.0
    plates: float = 1.0
    """On what plate exchangers pass per degree."""
    glycol_heat: float = 1.0
    """On the heat capacity that water loses by its share of glycol."""
    blower_heat: float = 1.0
    """On the share of a blower's power that warms its air."""


AS_TOLD = Tolerance()
