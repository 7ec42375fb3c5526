"""Deliveries measured against the log, other renders and reference frames."""
