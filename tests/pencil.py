"""An independent reader of the formulas in `working`: redoes each step and compares.

It shares no code with the kit: the kit writes a formula as text beside an answer it computed elsewhere, and
this reads the text, puts the numbers in and works it out.
"""

import ast
import math
import operator
from functools import cache

_OPERATORS = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}
_FUNCTIONS = {
    "ln": math.log,
    "log10": math.log10,
    "exp": math.exp,
    "sqrt": math.sqrt,
    "min": min,
    "max": max,
    "abs": abs,
}


_SIGNS = str.maketrans({"×": "*", "·": "*", "−": "-", "÷": "/", "^": "**", "√": "sqrt"})


@cache
def _read(expression: str) -> tuple[ast.expr, frozenset[str]]:
    """The formula as a tree, and the names in it."""
    tree = ast.parse(expression.translate(_SIGNS), mode="eval").body
    return tree, frozenset(node.id for node in ast.walk(tree) if isinstance(node, ast.Name))


def redo(step) -> float:
    """The answer of the step's formula with its own numbers put in."""
    return _work(_read(step.expression)[0], {term.symbol: term.value for term in step.terms})


def _work(node, values):
    match node:
        case ast.Constant(value=int() | float()):
            return node.value
        case ast.Name():
            return values[node.id]
        case ast.UnaryOp(op=ast.USub()):
            return -_work(node.operand, values)
        case ast.BinOp():
            return _OPERATORS[type(node.op)](_work(node.left, values), _work(node.right, values))
        case ast.Call(func=ast.Name()):
            return _FUNCTIONS[node.func.id](*(_work(arg, values) for arg in node.args))
    raise AssertionError(f"the working holds something a pencil cannot redo: {ast.dump(node)}")


def assert_pencil(working, rel=1e-6):
    """Every step has a formula that, worked again, gives the answer shown. At least one step is needed."""
    assert working, "no working to check"
    for step in working:
        again = redo(step)
        assert math.isclose(again, step.answer, rel_tol=rel, abs_tol=1e-9), (
            f"{step}: a pencil gets {again}"
        )
        names = _read(step.expression)[1]
        unused = [term.symbol for term in step.terms if term.symbol not in names]
        assert not unused, f"{step.what}: {unused} are listed but not in {step.formula!r}"
