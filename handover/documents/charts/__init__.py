"""Three charts of a schedule: the time line, the strength band, and the weather with the watering hours.

Each comes with a sentence that says what to read from it. They draw what the schedule holds and compute
nothing but places on the paper.
"""

from handover.documents.charts.chart import Chart
from handover.documents.charts.strength_band import strength
from handover.documents.charts.timeline import time_line
from handover.documents.charts.weather_hours import weather_strip

__all__ = ["Chart", "strength", "time_line", "weather_strip"]
