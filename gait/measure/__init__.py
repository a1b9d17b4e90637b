"""Measurements of a walking cow: each a number with its error, or the reason why there is none."""

from gait.measure.back_line import trace_back_line
from gait.measure.result import Measure
from gait.measure.whole_pass import Measurements, measure_pass, measure_posture

__all__ = ["Measure", "Measurements", "measure_pass", "measure_posture", "trace_back_line"]
