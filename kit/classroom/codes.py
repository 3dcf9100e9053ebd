"""Codes that no spreadsheet takes for a date, with a check digit: S03B2T1-1 is station 3, batter 2, tube 1; S03C17-7 is station 3 of class 17."""

import re

from kit.errors import KitError
from kit.trial.rows import need_bounded

_TABLE = (
    "0317598642",
    "7092154863",
    "4206871359",
    "1750983426",
    "6123045978",
    "3674209581",
    "5869720134",
    "8945362017",
    "9438617205",
    "2581436790",
)
"""a totally anti-symmetric quasigroup of order 10: it catches every single wrong digit and every exchange of neighbours"""
_SHAPE = re.compile(r"S(\d{2})B(\d)T(\d)-(\d)")
_STATION = re.compile(r"S(\d{2})C(\d{1,4})-(\d)")


class WrongCode(KitError):
    """A code that was not given out. The message names codes that differ in one digit or one exchange."""


def check_digit(digits: str) -> int:
    """The digit after which the state is 0."""
    state = 0
    for digit in digits:
        state = int(_TABLE[state][int(digit)])
    return state


def code(station: int, batter: int, tube: int) -> str:
    """The code of one tube. OutOfRange beyond station 1 to 99, batter and tube 1 to 9."""
    for name, value in {"station": station, "batters": batter, "tubes": tube}.items():
        need_bounded(name, value)
    return f"S{station:02d}B{batter}T{tube}-{check_digit(f'{station:02d}{batter}{tube}')}"


def station_code(station: int, class_number: int) -> str:
    """The code of one station of one class. OutOfRange beyond station 1 to 99, class 1 to 9999."""
    need_bounded("station", station)
    need_bounded("class_number", class_number)
    return f"S{station:02d}C{class_number}-{check_digit(f'{station:02d}{class_number}')}"


def read_station(text: str) -> tuple[int, int]:
    """(station, class) of the code that a person wrote. WrongCode where it fails."""
    plain = _plain(text)
    hit = _STATION.fullmatch(plain)
    said = repr(str(text)[:40])
    if not hit:
        raise WrongCode(f"{said} is no code of a station; it looks like {station_code(3, 17)}")
    station, class_number = int(hit[1]), int(hit[2])
    if not (station and class_number) or plain != station_code(station, class_number):
        raise WrongCode(f"{said} fails its check digit; copy it from the card once more")
    return station, class_number


def _plain(text: str) -> str:
    """Capitals, without blanks and dashes but the one before the check digit."""
    plain = re.sub(r"[\s_.–—-]", "", str(text)).upper()
    return f"{plain[:-1]}-{plain[-1:]}"


def _given(digits: str) -> tuple[int, int, int] | None:
    """(station, batter, tube) of four digits and their check digit; None where they were not given out."""
    key = int(digits[:2]), int(digits[2]), int(digits[3])
    return key if all(key) and not check_digit(digits) else None


def read_code(text: str) -> tuple[int, int, int]:
    """(station, batter, tube) of the code that a person wrote; case, blanks and missing dashes are forgiven, a wrong digit is not.

    WrongCode names the codes that differ in one digit or one exchange.
    """
    hit, said = _SHAPE.fullmatch(_plain(text)), repr(str(text)[:40])
    if not hit:
        raise WrongCode(f"{said} is no code of a tube; a code looks like {code(3, 2, 1)}")
    digits = "".join(hit.groups())
    found = _given(digits)
    if found:
        return found
    near = []
    for n, digit in enumerate(digits):
        near += [digits[:n] + str(d) + digits[n + 1 :] for d in range(10) if str(d) != digit]
        if n:
            near.append(digits[: n - 1] + digit + digits[n - 1] + digits[n + 1 :])
    good = [code(*key) for key in map(_given, dict.fromkeys(near)) if key]
    raise WrongCode(f"{said} fails its check digit; nearest: {', '.join(good[:6]) or 'none'}")
