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
    from cyclesim.decide.comparing.comparison import compare
    from cyclesim.decide.ranges.confidence import confidence
    from cyclesim.decide.readings.measured import measured
    from cyclesim.decide.sizing.blower_sizing import size_blower
    from cyclesim.decide.sizing.heater_sizing import size_heater
    from cyclesim.decide.sizing.pump_sizing import size_pump
    from cyclesim.decide.sweeps.sweep import How
    from cyclesim.decide.tuning.fits import fits
    from cyclesim.decide.tuning.tuning import tune
    from cyclesim.errors import CycleSimError, InputError
    from cyclesim.scenario.reading.controller import load_controller
    from cyclesim.scenario.reading.load import load
    from cyclesim.scenario.reading.readings import load_readings
    from cyclesim.shown.frames import frames
    from cyclesim.verification.verifier import verify

    __version__: str

__all__ = [
    "CycleSimError",
    "How",
    "InputError",
    "Result",
    "__version__",
    "compare",
    "confidence",
    "fits",
    "frames",
    "load",
    "load_controller",
    "load_readings",
    "measured",
    "simulate",
    "size_blower",
    "size_heater",
    "size_pump",
    "tune",
    "verify",
]

_HOME = {
    "CycleSimError": "cyclesim.errors",
    "How": "cyclesim.decide.sweeps.sweep",
    "InputError": "cyclesim.errors",
    "Result": "cyclesim.analysis.result",
    "compare": "cyclesim.decide.comparing.comparison",
    "confidence": "cyclesim.decide.ranges.confidence",
    "fits": "cyclesim.decide.tuning.fits",
    "frames": "cyclesim.shown.frames",
    "load": "cyclesim.scenario.reading.load",
    "load_controller": "cyclesim.scenario.reading.controller",
    "load_readings": "cyclesim.scenario.reading.readings",
    "measured": "cyclesim.decide.readings.measured",
    "simulate": "cyclesim.analysis.result",
    "size_blower": "cyclesim.decide.sizing.blower_sizing",
    "size_pump": "cyclesim.decide.sizing.pump_sizing",
    "tune": "cyclesim.decide.tuning.tuning",
    "size_heater": "cyclesim.decide.sizing.heater_sizing",
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
