"""What came of what was set to a student, in words."""

from __future__ import annotations

IN_A_TABLE = {"met": "met", "met-late": "met, late", "sent": "sent", "waiting": "awaited", "missing": "missing"}
"""By the standing's state: before the name of the exercise, in a column."""

AFTER_NEW_TAKES = {
    **dict.fromkeys(("waiting", "missing"), "none of it counts yet"),
    "met": "met",
    "met-late": "met, late",
    "sent": "not held yet",
}
"""Of a student who has just sent takes."""

WITHOUT_NEW_TAKES = {"missing": "Missing, it was due", "waiting": "Nothing yet"}
"""Before the names of those who have sent none, the missing first."""
