"""What can go in the bowl, and what is it made of?"""

from kit.materials.composition import (
    GROUP_1,
    KINDS,
    PARTS,
    SDS_TO_90,
    SPECIES,
    Material,
    lean_line,
    material,
    materials,
    rule_classes,
)
from kit.materials.cure_words import cure_word, cure_words, plain, which_strength
from kit.materials.given import by_eye, by_lab, by_lean_ratio, parse_lean
