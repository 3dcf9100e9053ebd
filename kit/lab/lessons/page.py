"""What every page of a lesson shows beside its panels: cautions, guess, exercises, questions, sources. `Lesson("04")` is the only thing that a notebook makes."""

from collections.abc import Iterable
from html import escape

from kit.lab.lessons import choices, lesson_file, questions
from kit.lab.lessons.ask import Ask
from kit.lab.words import terms


class Html:
    """A piece of a page, and the same in words for where nothing is drawn."""

    def __init__(self, html: str, words: str):
        self.html, self.words = html, words

    def _repr_html_(self) -> str:
        return self.html

    def __repr__(self) -> str:
        return self.words


class Lesson:
    """The lesson of one notebook, by its number: "01", "02b"; "00" has cautions alone."""

    def __init__(self, number: str):
        self.number = number

    def cautions(self) -> Html:
        """The cautions of the page in full; each panel has one line that leads here."""
        said = list(dict.fromkeys(cautions_of(self.number)))
        items = "".join(f"<li>{escape(text)}</li>" for text in said)
        title = "Cautions of this page"
        frame = 'id="cautions" style="border-left:6px solid #b98900;padding:2px 12px;font-size:16px;max-width:62em"'
        html = f"<div {frame}><strong>{title}</strong><ul>{items}</ul></div>"
        return Html(html, "\n".join([title, *(f"- {text}" for text in said)]))

    def guess(self) -> Ask:
        """The guess of the lesson, to commit before a panel is moved."""
        return Ask("", [lesson_file(self.number).guess()])

    def exercises(self) -> Ask:
        """The exercises: numbers to calculate, and what to choose."""
        return Ask("", [*lesson_file(self.number).exercises(), *choices(self.number)])

    def questions(self, **panels) -> Ask:
        """Five quick questions; the panels of the page by the names that data/words/questions.csv uses show their answers."""
        return Ask("", questions(self.number), panels)


def sources(*shown, more: Iterable[str] = ()) -> Html:
    """The sources of panels or results as they stand, folded until somebody opens them."""
    found = dict.fromkeys(
        (*(line for one in shown for line in getattr(one, "shown", one).sources), *more)
    )
    return folded(f"Sources ({len(found)})", found)


def folded(title: str, lines: Iterable[str]) -> Html:
    """Lines under a title that is opened by a click."""
    lines = list(lines)
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    html = f'<details style="font-size:16px"><summary>{escape(title)}</summary><ul>{items}</ul></details>'
    return Html(html, "\n".join([title, *(f"- {line}" for line in lines)]))


def glossary() -> Html:
    """Every term of the glossary with its unit and meaning, folded until somebody opens it."""
    return folded(
        f"Glossary ({len(terms())} terms)",
        (f"{one.term}{f' ({one.unit})' if one.unit else ''}: {one.meaning}" for one in terms()),
    )


def cautions_of(number: str) -> tuple[str, ...]:
    """The cautions of every panel of a page, from where the panels take them. A page loads its own panels only."""
    from kit import allergens
    from kit.cure import cautions as cure
    from kit.lethality import cautions as kill

    weighing = (cure.NITRITE, cure.STRENGTH, cure.WEIGH, cure.LAW)
    if number == "00":
        from kit.cook.cooked import CAUTION
        from kit.lab.panels.outcome import cautions
        from kit.lab.panels.plan.panel import AT_EACH_STEP
        from kit.lab.panels.sheets import kitchen_sheet, starting_sheet

        names = (sheet.composition.materials for sheet in (kitchen_sheet(), starting_sheet()))
        offered = (cautions(m.name for m in materials) for materials in names)
        return (*weighing, CAUTION, AT_EACH_STEP, *(text for texts in offered for text in texts))
    if number == "01":
        from kit.lab.panels.meat_block import OFFERED
        from kit.lab.panels.outcome import cautions

        return cautions(OFFERED)
    if number in ("02", "02b"):
        from kit.lab.panels.sheets import starting_sheet

        if number == "02b":
            return (cure.SALT_ALONE, cure.RESIDUAL, cure.NITRITE, cure.LAW)
        names = [m.name for m in starting_sheet().composition.materials]
        celery, own = (allergens.caution(offered) for offered in (("celery powder",), names))
        return (*weighing, cure.RESIDUAL, cure.POISONED, cure.NATURAL, cure.BLENDS, celery, own)
    if number == "03":
        from kit.chain.chop import BLADES, COLD

        return (BLADES, COLD)
    if number == "04":
        from kit.lab.panels.emulsion.words import cautions

        return cautions()
    if number == "05":
        from kit.diagnosis.catalogue import catalogue
        from kit.lab.panels.diagnosis.words import cautions

        causes = catalogue().causes.values()
        return (*cautions(), *(f"{one.name}: {one.caution}" for one in causes if one.caution))
    if number == "06":
        from kit.chain.casing import HANDS, LABEL
        from kit.lab.panels.scatter import PACK

        return (HANDS, LABEL, PACK)
    if number == "07":
        from kit.chain.cook import CAUTIONS

        return (*CAUTIONS, *kill.ALL)
    if number == "08":
        from kit.lab.panels.mass_balance.pieces import HEAVY, NET_WEIGHT

        return (HEAVY, NET_WEIGHT)
    if number == "10":
        from kit.lab.panels.run_class.pieces import cautions

        return cautions()
    if number == "11":
        from kit.lab.panels.station import CAUTIONS as AT_EACH_TASK

        return (*AT_EACH_TASK, cure.NITRITE, cure.LAW)
    from kit.lab.panels.batches.pieces import CAUTION

    return (CAUTION,)
