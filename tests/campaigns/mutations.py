"""Changes to records, documents and files, as people, programs and disks make them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable
    from random import Random

TEXTS = (
    *("", " ", "\t", "\0", "\x1b[31m", "\x7f", "\u202e", "\u200b", "\ufeff", "\u2028", "\r\n", "\ud800"),
    *(
        "e\u0301",
        "\U0001f9f1",
        "\U000e0041",
        "٣",
        "½",
        "x" * 5000,
        "=cmd|' /C calc'!A0",
        "<script>1</script>",
    ),
    *(
        "../../etc/passwd",
        "/dev/stdin",
        "C:\\con",
        "%s%n{0}{{7*7}}",
        "a\r\nBcc: x@example.org",
        "\\",
        '"',
        "'",
    ),
    *("NaN", "inf", "-0", "1e999", "0x10", "1_000", "1,5", "1.2.3", "9" * 400, "-1e-320", "true", "null"),
    *("2026-02-30", "2026-07-14T25:00", "9999-12-31T23:59:59Z", "0001-01-01T00:00:00+14:00", "24:00", "1/2"),
    *(
        "2026-11-01T01:30",
        "2026-03-08T02:30",
        "2026-07-14T06:40:00.999999999-04:00",
        "P1D",
        "now",
        "Etc/GMT+12",
    ),
    *(
        "4 in",
        "-4 in",
        "0 mm",
        "1e308 km",
        "4 in in",
        "5 degC",
        "-460 degF",
        "3000 psi",
        "34 ft 6 in",
        "120 %",
    ),
)
VALUES = (
    *(None, True, False, 0, 1, -1, 10**30, -(10**18), 2**63, 1e308, -1e308, 5e-324, 0.1, 1e6),
    *([], {}, [None], [[]], [{}], {"": None}, {"value": 1, "unit": "m"}, ["a", 1], [0.5] * 400),
)


def odd(random: Random) -> Any:
    """Return a value that nobody expects, of any type."""
    return random.choice(TEXTS) if random.random() < 0.6 else random.choice(VALUES)


def spoil_tree(random: Random, tree: Any) -> None:
    """Change a document of tables and lists at one place, of any depth, in place."""
    here = tree
    while here:
        key = random.choice(sorted(here, key=str) if isinstance(here, dict) else range(len(here)))
        if not isinstance(here[key], dict | list) or random.random() < 0.2:
            return _spoil_at(random, here, key)
        here = here[key]
    return None


def _spoil_at(random: Random, here: Any, key: Any) -> None:
    value = here[key]
    kinds = ["odd", "odd", "delete", "wrap", "text", "double"]
    match random.choice([*kinds, "scale", "scale"] if isinstance(value, int | float) else kinds):
        case "odd":
            here[key] = odd(random)
        case "delete":
            del here[key]
        case "wrap":
            here[key] = [value] if random.random() < 0.5 else {"value": value}
        case "text":
            here[key] = spoil_text(random, str(value))
        case "double" if isinstance(here, list):
            here.insert(key, value)
        case "double":
            here[random.choice(TEXTS) if random.random() < 0.5 else f"{key}_"] = value
        case "scale":
            here[key] = value * random.choice([-1, 0, 1e-9, 0.1, 10, 1e9, 1e300])


def spoil_text(random: Random, text: str) -> str:
    """Change lines, cells or characters of a text."""
    if not text:
        return random.choice(TEXTS)
    if "\n" in text.strip() and random.random() < 0.5:
        return _spoil_lines(random, text)
    at = random.randrange(len(text))
    end = random.choice([at, at + 1, at + random.randrange(12), _end_of_word(text, at)])
    return text[:at] + random.choice([*TEXTS, "", "", text[at:end] * 2]) + text[end:]


def _end_of_word(text: str, at: int) -> int:
    ends = [found for each in ",;= \n\"'" if (found := text.find(each, at)) >= 0]
    return min(ends, default=len(text))


def _spoil_lines(random: Random, text: str) -> str:
    lines = text.split("\n")
    at, other = random.randrange(len(lines)), random.randrange(len(lines))
    match random.randrange(5):
        case 0:
            del lines[at]
        case 1:
            lines.insert(other, lines[at])
        case 2:
            lines[at], lines[other] = lines[other], lines[at]
        case 3:
            del lines[at:]
        case 4:
            lines[at] = _spoil_cell(random, lines[at])
    return "\n".join(lines)


def _spoil_cell(random: Random, line: str) -> str:
    mark = next((each for each in (",", "=", ":", " ") if each in line), ",")
    cells = line.split(mark)
    cells[random.randrange(len(cells))] = random.choice(TEXTS)
    return mark.join(cells)


def spoil_bytes(random: Random, data: bytes) -> bytes:
    """Change bytes as a bad disk, a cut transfer or another editor does."""
    at = random.randrange(len(data) + 1)
    head, tail = data[:at], data[at:]
    changes: tuple[Callable[[], bytes], ...] = (
        lambda: head,
        lambda: head + bytes([random.randrange(256)]) + tail[1:],
        lambda: head + random.randbytes(random.randrange(1, 9)) + tail,
        lambda: head + tail[random.randrange(600) :],
        lambda: head + tail * 2,
        lambda: b"\xef\xbb\xbf" + data,
        lambda: data.decode("utf-8", "replace").encode(random.choice(["utf-16", "utf-32-le", "utf-16-be"])),
        lambda: data.replace(b"\n", random.choice([b"\r\n", b"\r", b"\n\0"])),
    )
    return random.choice(changes)()


def spoil(random: Random, text: str) -> bytes:
    """Return a text with some changes, as the bytes of its file."""
    for _ in range(random.randrange(1, 5)):
        text = spoil_text(random, text)
    data = text.encode("utf-8", "surrogatepass")
    return spoil_bytes(random, data) if random.random() < 0.25 else data
