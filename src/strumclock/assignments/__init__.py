"""Setting an exercise: into practice.toml, with a click track that a phone plays and a sheet to send."""

from strumclock.assignments.making import Made, assign
from strumclock.assignments.proposing import Proposal, propose

__all__ = ["Made", "Proposal", "assign", "propose"]
