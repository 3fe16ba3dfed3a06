"""What may be wrong with a plant: each cause changes one thing, by an amount that is not known, or outright.

A cause of unknown amount reaches beyond the usual doubt about its thing and takes that doubt's place. That
all amounts between its ends are equally likely, and the ends themselves, are common practice, no source.
"""

from cyclesim.decide.readings.cause import Cause
from cyclesim.decide.readings.flow_causes import flow_causes
from cyclesim.decide.readings.heat_causes import heat_causes
from cyclesim.scenario.blocks.model import Scenario


def causes(scenario: Scenario) -> list[Cause]:
    """Everything that this plant may have wrong with it."""
    return [*flow_causes(scenario), *heat_causes(scenario)]
