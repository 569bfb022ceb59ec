"""Days and times of day as people at this place say them.

Wall time in seconds UTC in, words out; nothing is counted by these.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from kiosk.words import date, t, zone_if_twice


def day_words(at: datetime) -> str:
    """`Tue 22.09.`"""
    return f"{t(f'dates.day.{at.weekday()}')} {date(at, year=False)}"


def clock_words(utc_s: float) -> str:
    """`14:05`, with its day before it where that is not today."""
    at = datetime.fromtimestamp(utc_s)
    said = f"{at:%H:%M}" if at.date() == datetime.now().date() else f"{date(at, year=False)} {at:%H:%M}"
    return said + zone_if_twice(at)


def span_words(since_utc_s: float, until_utc_s: float) -> str:
    """`06:00 – 14:00`"""
    since, until = datetime.fromtimestamp(since_utc_s), datetime.fromtimestamp(until_utc_s)
    return f"{since:%H:%M}{zone_if_twice(since)} – {until:%H:%M}{zone_if_twice(until)}"


def midnight(at: datetime) -> datetime:
    """When that day began."""
    return at.replace(hour=0, minute=0, second=0, microsecond=0)


def day_span(day: datetime) -> tuple[float, float]:
    """From when to when a day lasts; a day of a clock change is longer or shorter than others."""
    begin = midnight(day)
    return begin.timestamp(), midnight(begin + timedelta(days=1)).timestamp()


def week_span(day: datetime) -> tuple[float, float]:
    """From Monday to the end of that day."""
    return midnight(day - timedelta(days=day.weekday())).timestamp(), day_span(day)[1]
