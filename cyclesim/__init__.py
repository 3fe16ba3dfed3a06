"""cyclesim: design, check and defend the pump programme of a small custom heated tub.

>>> import cyclesim
>>> scenario = cyclesim.load("tub.yaml")  # doctest: +SKIP
>>> result = cyclesim.simulate(scenario, days=365)  # doctest: +SKIP

`load` raises `InputError`, which lists every fault of the file with its line and column; every error that is
raised on purpose is a `CycleSimError`. What a name needs is imported when it is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result, simulate
    from cyclesim.decide.confidence import confidence
    from cyclesim.decide.size_heater import size_heater
    from cyclesim.errors import CycleSimError, InputError
    from cyclesim.report.frames import frames
    from cyclesim.scenario.load import load
    from cyclesim.verification.verifier import verify

    __version__: str

__all__ = [
    "CycleSimError",
    "InputError",
    "Result",
    "__version__",
    "confidence",
    "frames",
    "load",
    "simulate",
    "size_heater",
    "verify",
]

_HOME = {
    "CycleSimError": "cyclesim.errors",
    "InputError": "cyclesim.errors",
    "Result": "cyclesim.analysis.result",
    "confidence": "cyclesim.decide.confidence",
    "frames": "cyclesim.report.frames",
    "load": "cyclesim.scenario.load",
    "simulate": "cyclesim.analysis.result",
    "size_heater": "cyclesim.decide.size_heater",
    "verify": "cyclesim.verification.verifier",
}


def __getattr__(name: str) -> object:
    if name == "__version__":
        from importlib.metadata import version

        return version("cyclesim")
    if name not in _HOME:
        raise AttributeError(f"module 'cyclesim' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
