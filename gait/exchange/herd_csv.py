"""The herd list from and to CSV: columns found by their header, a preview, rejected rows named."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from gait.errors import ExchangeError
from gait.exchange import fields as f
from gait.exchange.csv_files import CsvTable, read_csv, write_csv
from gait.herd.records import Cow

FIELDS: dict[str, str] = {
    "number": "animal number",
    "electronic": "electronic number (15 digits)",
    "birth_on": "birth",
    "parity": "parity",
    "calved_on": "last calving",
    "dried_off_on": "dry-off",
    "due_on": "expected calving",
    "group": "group",
    "breed": "breed",
    "left_on": "left the herd",
}

# Common words, not the format of any program: English, German, French, Dutch, Spanish, Italian,
# Danish and Swedish. Compared without accents, marks and capitals.
_ANIMALS = (
    "cow", "animal", "tag", "kuh", "tier", "stall", "vache", "koe", "dier", "vaca", "vacca", "ko",
    "dyr", "djur",
)  # fmt: skip
_NUMBERS = ("number", "no", "nr", "num", "id", "nummer", "numero")
_WORDS: dict[str, tuple[str, ...]] = {
    "electronic": (
        "electronic", "electronicnumber", "electronicid", "eid", "rfid", "transponder",
        "transpondernummer", "iso11784", "animalidelectronic", "elektronischenummer",
        "numeroelectronique", "elektronischnummer", "numeroelectronico", "numeroelettronico",
        "elektronisknummer",
    ),
    "number": (
        *_NUMBERS, *_ANIMALS,
        *(animal + number for animal in _ANIMALS for number in _NUMBERS),
        *(number + animal for animal in _ANIMALS for number in _NUMBERS),
        "numerodetravail", "notravail",
    ),
    "birth_on": (
        "birth", "birthdate", "dateofbirth", "born", "bornon", "birthon", "dob", "geburt",
        "geburtsdatum", "geboren", "naissance", "datenaissance", "datedenaissance",
        "geboortedatum", "nacimiento", "fechanacimiento", "fechadenacimiento", "nascita",
        "datanascita", "datadinascita", "fodt", "fodselsdato", "fodd", "fodelsedatum",
    ),
    "parity": (
        "parity", "lactation", "lactationnumber", "lact", "calvings", "laktation",
        "laktationsnummer", "kalbungen", "anzahlkalbungen", "rangdelactation", "rang", "lactatie",
        "lactatienummer", "lactacion", "partos", "numerodepartos", "lattazione", "parti",
        "laktationsnr", "kalvninger", "kalvningar",
    ),
    "calved_on": (
        "calved", "calvedon", "calving", "calvingdate", "lastcalving", "lastcalvingdate",
        "freshdate", "fresh", "kalbung", "kalbedatum", "letztekalbung", "abkalbung", "velage",
        "datevelage", "datedevelage", "derniervelage", "kalfdatum", "afkalfdatum", "gekalfd",
        "parto", "fechaparto", "fechadeparto", "ultimoparto", "dataparto", "kaelvning",
        "kalvning", "kaelvningsdato", "kalvningsdatum", "senestekaelvning",
    ),
    "dried_off_on": (
        "dryoff", "dryoffdate", "dry", "drydate", "driedoff", "driedoffon", "trocken",
        "trockenstelldatum", "trockengestellt", "trockenstellen", "tarissement",
        "datetarissement", "datedetarissement", "droogzetdatum", "drooggezet", "secado",
        "fechasecado", "fechadesecado", "asciutta", "dataasciutta", "goldning", "goldningsdato",
        "sinlaggning",
    ),
    "due_on": (
        "due", "dueon", "duedate", "expectedcalving", "expectedcalvingdate", "calvingdue",
        "erwartetekalbung", "kalbetermin", "abkalbetermin", "velageprevu", "dateprevuevelage",
        "verwachtekalfdatum", "partoprevisto", "fechapartoprevisto", "partoatteso",
        "forventetkaelvning", "beraknadkalvning",
    ),
    "group": (
        "group", "pen", "lot", "gruppe", "lotto", "groupe", "groep", "grupo", "lote", "gruppo",
        "hold", "grupp", "herdgroup",
    ),
    "breed": ("breed", "rasse", "race", "ras", "raza", "razza"),
    "left_on": (
        "left", "lefton", "leftherd", "exit", "exitdate", "abgang", "abgangsdatum", "sortie",
        "datesortie", "datedesortie", "afvoerdatum", "baja", "fechabaja", "uscita", "datauscita",
        "afgang", "afgangsdato", "utgang",
    ),
}  # fmt: skip
_DATES = ("birth_on", "calved_on", "dried_off_on", "due_on", "left_on")


@dataclass(frozen=True, kw_only=True)
class Rejected:
    """A row that cannot be taken in: its line in the file, the cells, and why, as a sentence."""

    line: int
    cells: tuple[str, ...]
    why: str


@dataclass(frozen=True, kw_only=True)
class HerdListPreview:
    """What a herd list would bring in, before anything is kept.

    ``columns`` says which header holds which field (index of the column); ``not_used`` are the
    headers that no field was found for. ``new``, ``changed`` and ``unchanged`` are animal numbers.
    """

    header: tuple[str, ...]
    columns: Mapping[str, int]
    not_used: tuple[str, ...]
    date_order: f.DateOrder
    cows: tuple[Cow, ...]
    rejected: tuple[Rejected, ...]
    new: tuple[str, ...]
    changed: tuple[str, ...]
    unchanged: tuple[str, ...]


def guess_columns(header: Sequence[str]) -> dict[str, int]:
    """Return which column holds which field, judged by the header alone.

    A header that is one of the common words wins over one that only contains such a word.
    """
    plain = [_plain(name) for name in header]
    found: dict[str, int] = {}
    taken: set[int] = set()
    for fits in (_is_word, _contains_word):
        for field, words in _WORDS.items():
            hits = [i for i, name in enumerate(plain) if i not in taken and fits(name, words)]
            if field not in found and hits:
                found[field] = hits[0]
                taken.add(hits[0])
    return found


def _plain(name: str) -> str:
    spelled = name.lower().replace("ø", "o").replace("æ", "ae").replace("ß", "ss")
    bare = unicodedata.normalize("NFKD", spelled)
    return re.sub(r"[^a-z0-9]", "", bare)


def _is_word(name: str, words: Sequence[str]) -> bool:
    return name in words


def _contains_word(name: str, words: Sequence[str]) -> bool:
    return any(len(word) >= 5 and word in name for word in words)


def preview_herd_list(
    content: bytes | str | CsvTable,
    known: Sequence[Cow] = (),
    *,
    columns: Mapping[str, int] | None = None,
    date_order: f.DateOrder | None = None,
) -> HerdListPreview:
    """Read a herd list without keeping anything.

    Parameters
    ----------
    content : bytes, str or CsvTable
        The CSV file.
    known : sequence of Cow
        The herd as recorded now, those that left too: tells new from changed, and finds numbers
        that would belong to two animals.
    columns : mapping, optional
        Which column holds which field, as put right by a person; guessed by default.
    date_order : str, optional
        Guessed from the whole list by default.

    Raises
    ------
    ExchangeError
        If it is no CSV, or no column holds the animal number.
    """
    table = content if isinstance(content, CsvTable) else read_csv(content)
    chosen = dict(guess_columns(table.header) if columns is None else columns)
    if "number" not in chosen:
        raise ExchangeError(
            "No column holds the animal number.", "Say which column it is, or name it 'number'."
        )
    order = date_order or f.guess_date_order(
        cells[chosen[name]]
        for name in _DATES
        if name in chosen
        for _, cells in table.rows
        if chosen[name] < len(cells)
    )
    cows, rejected = _read_rows(table, chosen, order, known)
    before = {cow.number: cow for cow in known}
    new = tuple(c.number for c in cows if c.number not in before)
    changed = tuple(c.number for c in cows if c.number in before and _changes(before[c.number], c))
    return HerdListPreview(
        header=table.header,
        columns=chosen,
        not_used=tuple(h for i, h in enumerate(table.header) if i not in chosen.values()),
        date_order=order,
        cows=tuple(cows),
        rejected=tuple(rejected),
        new=new,
        changed=changed,
        unchanged=tuple(c.number for c in cows if c.number not in {*new, *changed}),
    )


def cows_to_keep(preview: HerdListPreview, *, all_or_nothing: bool = False) -> tuple[Cow, ...]:
    """Return the cows of a preview that are to be put into the store.

    Raises
    ------
    ExchangeError
        If ``all_or_nothing`` is asked for and a row was rejected.
    """
    if all_or_nothing and preview.rejected:
        first = preview.rejected[0]
        raise ExchangeError(
            f"{len(preview.rejected)} rows cannot be taken in, the first in line {first.line}: "
            f"{first.why}",
            "Nothing was changed. Put the list right and bring it in again.",
        )
    return preview.cows


def herd_list_csv(cows: Sequence[Cow]) -> str:
    """Return the herd list as CSV, to be read again by :func:`preview_herd_list`."""
    return write_csv(list(FIELDS), ({name: getattr(cow, name) for name in FIELDS} for cow in cows))


def _read_rows(
    table: CsvTable, columns: Mapping[str, int], order: f.DateOrder, known: Sequence[Cow]
) -> tuple[list[Cow], list[Rejected]]:
    holders = {cow.electronic: cow for cow in known if cow.electronic}
    before = {cow.number: cow for cow in known}
    cows: list[Cow] = []
    rejected: list[Rejected] = []
    lines: dict[str, int] = {}
    for line, cells in table.rows:
        try:
            cow = _cow(cells, columns, order)
            _refuse_doubles(cow, lines, before, holders)
        except ValueError as error:
            rejected.append(Rejected(line=line, cells=cells, why=str(error)))
            continue
        lines[cow.number] = line
        if cow.electronic:
            lines[cow.electronic] = line
        cows.append(cow)
    return cows, rejected


def _cow(cells: Sequence[str], columns: Mapping[str, int], order: f.DateOrder) -> Cow:
    readers: dict[str, Callable[[str], Any]] = {
        "number": f.animal_number,
        "electronic": lambda text: f.electronic_number(text) if text.strip() else None,
        "parity": _parity,
        "group": lambda text: text.strip() or None,
        "breed": lambda text: text.strip() or None,
    } | {name: (lambda text: f.day(text, order)) for name in _DATES}
    values = {
        name: readers[name](cells[i] if i < len(cells) else "") for name, i in columns.items()
    }
    cow = Cow(**values)
    if cow.birth_on and cow.calved_on and (cow.calved_on - cow.birth_on).days < 365:
        raise ValueError(f"Cow {cow.number} calved before she was one year old.")
    if cow.parity == 0 and cow.calved_on:
        raise ValueError(f"Cow {cow.number} has calved but is listed with parity 0.")
    return cow


def _parity(text: str) -> int | None:
    bare = text.strip()
    if not bare:
        return None
    if not re.fullmatch(r"[0-9]{1,2}([.,]0+)?", bare) or int(re.split("[.,]", bare)[0]) > 20:
        raise ValueError(f"{bare!r} is no parity (0 to 20).")
    return int(re.split("[.,]", bare)[0])


def _refuse_doubles(
    cow: Cow, lines: Mapping[str, int], before: Mapping[str, Cow], holders: Mapping[str, Cow]
) -> None:
    if cow.number in lines:
        raise ValueError(f"Cow {cow.number} is already in line {lines[cow.number]}.")
    if cow.electronic and cow.electronic in lines:
        raise ValueError(
            f"The electronic number {cow.electronic} is already in line {lines[cow.electronic]}."
        )
    holder = holders.get(cow.electronic) if cow.electronic else None
    if holder is not None and holder.number != cow.number:
        raise ValueError(
            f"The electronic number {cow.electronic} belongs to cow {holder.number} on record."
        )
    known = before.get(cow.number)
    if known is not None and known.birth_on and cow.birth_on and known.birth_on != cow.birth_on:
        raise ValueError(
            f"Cow {cow.number} on record was born {known.birth_on}, here {cow.birth_on}: another "
            "animal with the same number? Give the old one another number first, under Settings, "
            "Herd list."
        )


def _changes(before: Cow, now: Cow) -> bool:
    return any(
        getattr(now, field.name) not in (None, getattr(before, field.name))
        for field in fields(Cow)
        if field.name != "listed"
    ) or (now.listed and not before.listed)
