"""The page of one station: its code, its guess before all else, its exercises, its own losses, its conclusion. Each step is kept at once in hand_in_SS.toml, so that a page that was closed goes on where it was."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache, partial
from pathlib import Path

from kit import units
from kit.classroom.codes import code, read_station, station_code
from kit.classroom.hand_in import EXERCISES, HandIn
from kit.classroom.plan import ClassPlan
from kit.classroom.results import ClassResults
from kit.errors import KitError
from kit.faults import need_said, said
from kit.files import put
from kit.lab.lessons import Exercise, read_answer
from kit.lab.lessons.ask import Ask, Doing, Reply, checked, solved
from kit.lab.lessons.station import WORKED_EXAMPLE, exercises, own_loss
from kit.lab.pages.class_cards import NOT_EATEN, STEPS, question_words
from kit.lab.panels.controls import controls_of
from kit.lab.panels.panel import Panel, Table, View
from kit.reading.class_hand_in import fingerprint, hand_in_toml, read_hand_in
from kit.reading.class_plan import read_plan
from kit.reading.class_results import read_results
from kit.rules.limits import limit
from kit.tables import cite, data_path
from kit.working import figure

PLAN = "plan.toml"
FIRST_CODE = "Type the code of your station in the panel first."
FIRST_GUESS = "Commit your guess first."
POINTS = "percentage points"
CAUTIONS = (*(caution for _, caution in STEPS.values()), NOT_EATEN)


@dataclass(frozen=True)
class StationDesk:
    """What a station works with; `station` is 0 until its code is typed."""

    plan: ClassPlan
    invented: bool
    station: int = 0
    held: HandIn | None = None
    path: Path = Path()
    """where it is kept"""
    mark: str = ""
    """fingerprint of that file as it was read"""
    read: ClassResults | None = None
    """the station's file of weights"""
    its_file: Mapping[str, str] = field(default_factory=dict)
    """name and fingerprint of that file, as they are handed in; empty where there is none"""


@lru_cache(maxsize=4)
def _plan(whole: bytes) -> ClassPlan:
    return read_plan(whole)


@lru_cache(maxsize=4)
def _read(plan: bytes, name: str, whole: bytes) -> ClassResults:
    return read_results([(name, whole)], _plan(plan))


class StationPanel(Panel):
    """The panel, and beside it `guess`, `exercises`, `losses` and `finish`, each empty until it is its turn."""

    def __init__(self, folder: str | Path = "."):
        self.folder, self.desk = Path(folder), None
        self.asks = [Ask(FIRST_CODE, ()) for _ in range(4)]
        self.guess, self.exercises, self.losses, self.finish = self.asks
        book = data_path("demo", "class", "station_03.xlsx")
        plan = data_path("demo", "class", PLAN)
        demo = {"code": station_code(3, 17)}
        demo |= {"plan": (PLAN, plan.read_bytes()), "results": (book.name, book.read_bytes())}
        super().__init__(
            "Your station",
            controls_of("station"),
            self._found,
            _view,
            {},
            {"Station 3 of the invented class": demo},
        )

    def _found(self, values) -> StationDesk:
        own = self.folder / PLAN
        demo = data_path("demo", "class", PLAN).read_bytes()
        whole = own.read_bytes() if own.is_file() else demo
        whole = values["plan"][1] if values["plan"] else whole
        plan, invented = _plan(whole), whole == demo
        if not values["code"].strip():
            return StationDesk(plan, invented)
        station, class_number = read_station(values["code"])
        same = class_number == plan.class_number
        need_said(same, "code of another class", KitError, given=class_number, plan=plan)
        need_said(station in plan.present, "station away", KitError, station=station)
        name, file = values["results"] or ("", b"")
        read = _read(whole, name, file) if name else None
        its = {"results_file": name, "results_sum": fingerprint(file)} if name else {}
        held = HandIn(plan.class_number, station, plan.fingerprint)
        path = self.folder / f"{'invented_' if invented else ''}{held.file_name}"
        try:
            held = read_hand_in(path, plan) if path.is_file() else held
        except KitError as cause:
            raise KitError(f"{cause}\nTo begin anew, move that file to another folder.") from None
        return StationDesk(plan, invented, station, held, path, _mark(path), read, its)

    def _draw(self, specs: bool = False):
        before, self.desk = self.desk, None
        super()._draw(specs)
        if self.error is None and self.result.station:
            self.desk = self.result
        if _turn(self.desk) != _turn(before):
            self._ask(anew=_turn(self.desk)[:-1] != _turn(before)[:-1])

    def _ask(self, anew: bool) -> None:
        """The parts whose turn it is; `anew`: of another station, so the guess too."""
        desk = self.desk
        if desk is None:
            for one in self.asks:
                one.use(FIRST_CODE, ())
            return
        if anew:
            self.guess.use("", [self._guess(desk)])
        for one, make in zip(self.asks[1:], (self._exercises, self._losses, self._finish)):
            one.use(*("", make(desk)) if desk.held.guess else (FIRST_GUESS, ()))

    def _keep(self, **changes) -> None:
        """One more step in the file, whole or not at all; what another page wrote meanwhile is read, not written over."""
        path = self.desk.path
        if _mark(path) != self.desk.mark:
            self._changed()
            raise KitError(said("changed meanwhile", name=path.name))
        held = replace(self.desk.held, **{**changes, **self.desk.its_file})
        put(path, hand_in_toml(held), overwrite=True)
        self._changed()

    # the guess

    def _guess(self, desk: StationDesk) -> Doing:
        words = units.in_text(main_effect(desk.plan), desk.plan.units)
        ask = f"By how many percentage points does {words} change the {desk.plan.question.response_words}? More loss is plus, less is minus."
        return Doing(ask, POINTS, {"Commit": self._commit}, typed=desk.held.guess)

    def _commit(self, text: str) -> Reply:
        if self.desk.held.guess:
            return Reply(f"Your guess stays: {self.desk.held.guess} {POINTS}.")
        guessed = figure(read_answer(text, POINTS, "your guess"), 4).replace("−", "-")
        self._keep(guess=guessed, guessed_at=_now())
        return Reply(f"Your guess is kept: {guessed} {POINTS}. The exercises are open.")

    # the exercises

    def _exercises(self, desk: StationDesk) -> list[Doing]:
        shown = exercises(desk.plan.seed, WORKED_EXAMPLE)
        found = []
        for n, one in enumerate(exercises(desk.plan.seed, desk.station)):
            acts: dict[str, Callable[[str], Reply]] = {
                "Check": partial(self._check, n, one),
                "Hint": partial(self._hint, n, one),
                "Show": partial(self._show, one),
            }
            answer, *working = shown[n].solution().splitlines()
            beside = ("Worked example", shown[n].question, *map(str.strip, working))
            typed = ("", *desk.held.answers[n].typed)[-1]
            example = (*beside, f"Answer: {answer}")
            found.append(Doing(one.question, one.unit, acts, typed=typed, example=example))
        return found

    def _open(self, n: int, one: Exercise) -> bool:
        """Is it still recorded? Not once it was right, nor after the hand-in."""
        held = self.desk.held
        right = any(one.judge(text)[0] == "right" for text in held.answers[n].typed)
        return not right and not held.handed_in_at

    def _record(self, n: int, **changes) -> None:
        answers = list(self.desk.held.answers)
        answers[n] = replace(answers[n], **changes)
        self._keep(answers=tuple(answers))

    def _check(self, n: int, one: Exercise, text: str) -> Reply:
        reply = checked(one, text)
        if self._open(n, one):
            self._record(n, typed=(*self.desk.held.answers[n].typed, text.strip()))
        return reply

    def _hint(self, n: int, one: Exercise, _: str) -> Reply:
        number = self.desk.held.answers[n].hints % len(one.hints) + 1
        if self._open(n, one):
            self._record(n, hints=self.desk.held.answers[n].hints + 1)
        return Reply(f"Hint {number} of {len(one.hints)}: {one.hint(number)}")

    def _show(self, one: Exercise, _: str) -> Reply:
        if not self.desk.held.handed_in_at:
            return Reply("The answer is shown once you have handed in.")
        return solved(one)

    # own losses

    def _losses(self, desk: StationDesk) -> list[Doing]:
        found = []
        for one, *_ in desk.plan.tubes_of(desk.station):
            ask, acts = f"Tube {one}: loss from its own three weights", partial(self._own, one)
            found.append(Doing(ask, "%", {"Check": acts}, typed=desk.held.tubes.get(one, "")))
        return found

    def _own(self, tube: str, text: str) -> Reply:
        read_answer(text, "%", "your loss")
        if not self.desk.held.handed_in_at:
            self._keep(tubes={**self.desk.held.tubes, tube: text.strip()})
        if self.desk.read is None:
            return Reply("Kept. Choose the filled file of your station above to have it checked.")
        hit = [t for t in self.desk.read.tubes if code(*t.key) == tube and t.usable]
        if not hit:
            return Reply("Kept. The file has no three weights of this tube that can be used.")
        return checked(own_loss(hit[0]), text)

    # the end

    def _finish(self, desk: StationDesk) -> list[Doing]:
        ask = "Your conclusion in one sentence: what was found, for which batter, how large, how certain?"
        last = f"Hand in {desk.path.name}. After that nothing changes any more, and each exercise shows its answer."
        return [
            Doing(ask, "", {"Keep": self._conclude}, "words", desk.held.conclusion),
            Doing(last, "", {"Hand in": self._hand_in}, ""),
        ]

    def _conclude(self, text: str) -> Reply:
        if self.desk.held.handed_in_at:
            return Reply("It is handed in; the sentence stays as it was.")
        self._keep(conclusion=text.strip())
        return Reply("Kept.")

    def _hand_in(self, _: str) -> Reply:
        held = self.desk.held
        if not held.handed_in_at:
            self._keep(handed_in_at=_now())
        left = [str(n) for n, one in enumerate(held.answers, 1) if not one.typed]
        blank = f" Blank: exercise {', '.join(left)}." if left else ""
        return Reply(
            f"Handed in at {self.desk.held.handed_in_at.replace('T', ' ')}: give the file {self.desk.path.name} in this folder to your teacher.{blank}"
        )


def _turn(desk: StationDesk | None) -> tuple:
    """What decides which parts are asked: the station, and whether it has guessed."""
    if desk is None:
        return ((), False)
    return ((desk.plan.fingerprint, desk.plan.seed, desk.station), bool(desk.held.guess))


def _mark(path: Path) -> str:
    return fingerprint(path.read_bytes()) if path.is_file() else ""


def _now() -> str:
    return datetime.now().isoformat(timespec="minutes")


def main_effect(plan: ClassPlan) -> str:
    """The comparison that is guessed, and that the class's effect answers first."""
    one, levels = plan.question.factors[0], plan.question.levels[0]
    if plan.design.kind == "dose":
        return one.doing.format(level=one.words(max(levels)), reference=one.words(min(levels)))
    return next(iter(plan.question.contrasts()))


def station_panel(folder: str | Path = ".") -> StationPanel:
    """The page of a station; plan.toml and hand_in_SS.toml lie in `folder`."""
    return StationPanel(folder)


def _view(desk: StationDesk, values, system: str) -> View:
    plan, held = desk.plan, desk.held
    sources = (limit("us_nitrite_ingoing").cite(), cite("kit", "exercises and answers", "computed"))
    whose = "the invented demo class" if desk.invented else f"class {plan.class_number}"
    if held is None:
        return View(
            f"The plan of {whose} is open. Type the code of your station, as it stands on your card.",
            sources=sources,
            cautions=CAUTIONS,
        )
    its, faults = plan.tubes_of(desk.station), desk.read.faults if desk.read else ()
    file = desk.its_file.get("results_file")
    wrong = f" ✗ {len(faults)} faults in {file}: {faults[0]}" if faults else ""
    done = sum(bool(one.typed) for one in held.answers)
    so_far = (
        ("guess", f"{held.guess} {POINTS}" if held.guess else "not yet"),
        ("exercises", f"{done} of {EXERCISES} answered"),
        ("own losses", f"{len(held.tubes)} of {len(its)}"),
        ("conclusion", "written" if held.conclusion else "not yet"),
        ("handed in", held.handed_in_at.replace("T", " ") or "not yet"),
    )
    tubes = [(text, batter, f"{fill:g}") for text, batter, _, fill in its]
    tables = (
        Table("So far", ("part", "state"), so_far),
        Table("Your tubes", ("tube", "batter", "weight to fill, g"), tubes, folded=True),
        Table("Faults in your file", ("fault",), [(fault,) for fault in faults], folded=True),
    )
    return View(
        f"Station {desk.station} of {whose}. {question_words(plan)}{wrong}",
        tables=tables if faults else tables[:2],
        notes=(f"Everything is kept in {desk.path.name}, in the folder of this page.",),
        sources=sources,
        cautions=CAUTIONS,
    )
