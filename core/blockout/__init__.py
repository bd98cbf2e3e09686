"""Block-out along the path, relief, and the master cast."""

from .master import MasterCast, master_cast
from .relief import ReliefSpec, relief_solid
from .shadow import block_out, undercut_volume

__all__ = ["MasterCast", "ReliefSpec", "block_out", "master_cast", "relief_solid", "undercut_volume"]
