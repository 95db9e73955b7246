"""The first days, supplies and the calendar for life."""
