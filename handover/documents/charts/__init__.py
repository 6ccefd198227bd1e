"""Three charts of a schedule: the time line, the strength band, and the weather with the watering hours.

One more compares start hours before the pour: `start_hours`, which no paper of an issue needs.

Each has a sentence that says what it shows. They draw values of the schedule and compute only positions on
the paper.
"""

from handover.documents.charts.chart import Chart
from handover.documents.charts.strength_band import strength
from handover.documents.charts.timeline import time_line
from handover.documents.charts.weather_hours import weather_strip

__all__ = ["Chart", "strength", "time_line", "weather_strip"]
