"""What a first question would wait for, done once where workers are forked from, by importing this."""

from cyclesim.analysis.result import simulate
from cyclesim.said.answer import answer
from cyclesim.said.run import run_page
from cyclesim.said.stretch import stretch
from cyclesim.said.values import result_values
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.as_json import as_text
from cyclesim.shown.page.packed import packed
from cyclesim.verification.verifier import verify
from cyclesim.workbench.views import drawn_view, page_view

__all__ = ["verify"]

_result = simulate(load_text(starter_text()), days=1)
as_text([answer(_result).verdict, page_view(run_page(_result), False), result_values(_result)])
packed(stretch(_result))
drawn_view(_result.plant, False, _result.metrics.legs, _result.findings)
