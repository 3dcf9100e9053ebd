"""What is the mix made of; which mix meets the target; which is cheapest; how certain?

    mix       compose, cooked: what every kilogram is, before and after the cook
    uncertainty  how uncertain the fat of the mix is, and what a fat test would buy
    target    the square for two meats; the smallest change of plan for several
    quantities  what a limit can look at
    limits    a limit as a straight line in the amounts
    cheapest  the cheapest mix under limits: what binds, what one more unit is worth, what to relax where nothing fits

The room takes materials and kilograms; it knows no sheet and no rule book.
"""

from kit.meat_block.cheapest import cheapest
from kit.meat_block.mix import Composition, compose
from kit.meat_block.uncertainty import uncertainty

__all__ = ["Composition", "cheapest", "compose", "uncertainty"]
