"""strumclock: how accurately a guitarist strums against a click, and whether the weeks of practice work."""
