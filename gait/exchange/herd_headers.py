"""Which column of a herd list holds what, judged by its header in several languages."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

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
        "elektronisknummer", "ohrmarke", "ohrmarkennummer", "ohrmarkennr", "lebensnummer",
        "lebensnr", "lebensohrmarke", "lom", "chipnummer", "chipnr",
    ),
    "number": (
        *_NUMBERS, *_ANIMALS,
        *(animal + number for animal in _ANIMALS for number in _NUMBERS),
        *(number + animal for animal in _ANIMALS for number in _NUMBERS),
        "numerodetravail", "notravail", "halsband", "halsbandnummer", "halsbandnr",
    ),
    "birth_on": (
        "birth", "birthdate", "dateofbirth", "born", "bornon", "birthon", "dob", "geburt",
        "geburtsdatum", "geboren", "geb", "gebdat", "gebdatum", "naissance", "datenaissance",
        "datedenaissance",
        "geboortedatum", "nacimiento", "fechanacimiento", "fechadenacimiento", "nascita",
        "datanascita", "datadinascita", "fodt", "fodselsdato", "fodd", "fodelsedatum",
    ),
    "parity": (
        "parity", "lactation", "lactationnumber", "lact", "calvings", "laktation",
        "laktationsnummer", "kalbungen", "anzahlkalbungen", "rangdelactation", "rang", "lactatie",
        "lactatienummer", "lactacion", "partos", "numerodepartos", "lattazione", "parti",
        "laktationsnr", "laktnr", "lakt", "kalbungsnummer", "kalbungsnr", "kalvninger",
        "kalvningar",
    ),
    "calved_on": (
        "calved", "calvedon", "calving", "calvingdate", "lastcalving", "lastcalvingdate",
        "freshdate", "fresh", "kalbung", "kalbedatum", "letztekalbung", "abkalbung",
        "abkalbedatum", "kalbungam", "velage",
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
        "erwartetekalbung", "erwarteteabkalbung", "nachstekalbung", "nachsteabkalbung",
        "voraussichtlichekalbung", "voraussichtlicheabkalbung", "kalbetermin", "abkalbetermin",
        "velageprevu", "dateprevuevelage",
        "verwachtekalfdatum", "partoprevisto", "fechapartoprevisto", "partoatteso",
        "forventetkaelvning", "beraknadkalvning",
    ),
    "group": (
        "group", "pen", "lot", "gruppe", "abteil", "bucht", "stallgruppe", "stallabteil", "lotto",
        "groupe", "groep", "grupo", "lote", "gruppo",
        "hold", "grupp", "herdgroup",
    ),
    "breed": ("breed", "rasse", "race", "ras", "raza", "razza"),
    "left_on": (
        "left", "lefton", "leftherd", "exit", "exitdate", "abgang", "abgangsdatum", "merzung",
        "sortie",
        "datesortie", "datedesortie", "afvoerdatum", "baja", "fechabaja", "uscita", "datauscita",
        "afgang", "afgangsdato", "utgang",
    ),
}  # fmt: skip


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
