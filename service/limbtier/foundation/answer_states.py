"""The states of an answer that are not values.

"Not recorded" has no constant: it is absence, the key is not there. It is never "no" and never one of these.
"""

from typing import Final

NOT_DONE: Final = "not_done"
"""A measurement that was asked for and not made: a determined answer, on which every edge test is false."""

NOT_ASKED: Final = "not_asked"
"""A question whose condition is false: it counts as answered, and every test on it is false."""
