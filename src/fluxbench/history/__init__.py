"""History: what a deck's readings do over the years. Pure: no clock, no file, no database."""

from fluxbench.history._beside import Beside, levelled, read_with, side_by_side
from fluxbench.history._drift import Drift, drift_of
from fluxbench.history._findings import band_of, findings_of
from fluxbench.history._forecast import COVERAGE, Forecast, Outlook, forecasts_of
from fluxbench.history._lives import begin_of, newest_life_of
from fluxbench.history._rate import Rates, common_rate_of, own_rates_of, rates_of
from fluxbench.history._sudden import Finding, What
from fluxbench.history._suggestions import Suggestion, suggestion_of
from fluxbench.history._trail import Note, Row, Trail, date_of, days_of, trails_from, trails_of

__all__ = [
    "COVERAGE",
    "Beside",
    "Drift",
    "Finding",
    "Forecast",
    "Note",
    "Outlook",
    "Rates",
    "Row",
    "Suggestion",
    "Trail",
    "What",
    "band_of",
    "begin_of",
    "common_rate_of",
    "date_of",
    "days_of",
    "drift_of",
    "findings_of",
    "forecasts_of",
    "levelled",
    "newest_life_of",
    "own_rates_of",
    "rates_of",
    "read_with",
    "side_by_side",
    "suggestion_of",
    "trails_from",
    "trails_of",
]
