"""Made-up dental casts with ground truth, from published average sizes of teeth and arches."""

from .make import Phantom, make_phantom
from .spec import SAMPLES, PhantomSpec

__all__ = ["SAMPLES", "Phantom", "PhantomSpec", "make_phantom"]
