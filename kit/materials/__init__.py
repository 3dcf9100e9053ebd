"""What can go in the bowl, and what is it made of?"""

from kit.materials.composition import Material, material
from kit.materials.given import by_lab
from kit.materials.words import search

__all__ = ["Material", "by_lab", "material", "search"]
