"""One comparison of the tool with something outside it, as a row that a table can print."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Check:
    """What a source says beside what cyclesim says."""

    id: str
    group: str
    quantity: str
    inputs: str
    says: float
    ours: float
    unit: str
    tolerance: float
    """Largest difference allowed, in the unit."""
    source: str
    status: str
    """read, computed, from memory or common practice."""

    @property
    def difference(self) -> float:
        """Ours less what the source says."""
        return self.ours - self.says

    @property
    def holds(self) -> bool:
        """Whether the difference is within the tolerance."""
        return abs(self.difference) <= self.tolerance
