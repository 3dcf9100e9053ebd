"""What can go in the bowl, and what is it made of?"""

from kit.materials.composition import Material, material
from kit.materials.given import by_lab

__all__ = ["Material", "by_lab", "material"]
