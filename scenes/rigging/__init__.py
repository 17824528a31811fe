"""What stands on a set beside what shines: housings, stands and booms, and what they run into."""

from .checks import rigging_problems
from .housing import HEAD_LENGTH_M, HEAD_RADIUS_M, Look, look_of, rear_m, solids_of
from .solid import Solid
from .stands import Foot, Paper, Place, support_of

__all__ = [
    "HEAD_LENGTH_M",
    "HEAD_RADIUS_M",
    "Foot",
    "Look",
    "Paper",
    "Place",
    "Solid",
    "look_of",
    "rear_m",
    "rigging_problems",
    "solids_of",
    "support_of",
]
