"""Headings of keepers' own spreadsheets: what a column holds, told from its words, and in which unit."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from leadline.formats import amounts, subjects
from leadline.measures import units
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.quantities import QUANTITIES, canonical_name
from leadline.model import substances
from leadline.seawater import convert

# Trade words in English, German, French, Spanish, Dutch and Norwegian, without accents. [common practice]
_WORDS: Mapping[str, str] = {
    **dict.fromkeys(("date", "datum", "dato", "fecha", "jour", "tag", "dag", "dia", "day", "date/time", "datetime",
                     "timestamp", "date time", "datum/zeit", "datum uhrzeit", "date and time", "when"), "date"),
    **dict.fromkeys(("time", "zeit", "uhrzeit", "heure", "hora", "tid", "klokkeslett", "tijd", "time of day"), "time"),
    **dict.fromkeys(("system", "tank", "becken", "aquarium", "bac", "kar", "acuario", "akvarium"), "system"),
    **dict.fromkeys(("note", "notes", "comment", "comments", "remark", "remarks", "bemerkung", "bemerkungen", "notiz",
                     "notizen", "kommentar", "kommentarer", "merknad", "merknader", "remarque", "remarques",
                     "commentaire", "commentaires", "notas", "opmerking", "opmerkingen", "observations",
                     "anmerkung", "anmerkungen"), "note"),
    **dict.fromkeys(("water change", "waterchange", "wc", "wasserwechsel", "ww", "vannskifte", "vannbytte",
                     "changement d'eau", "changement d eau", "cambio de agua", "waterverversing"),
                    "exchange:mixed-seawater"),
    **dict.fromkeys(("top off", "topoff", "top up", "topup", "ato", "verdunstung", "nachfullwasser", "nachfullung",
                     "etterfylling", "evaporation", "appoint", "appoint d'eau", "fordampning"), "topoff:ro"),
    **dict.fromkeys(("temperatur", "temperatura", "water temp", "water temperature", "wassertemperatur",
                     "vanntemperatur", "temp.", "t", "tank temp"), "temperature"),
    **dict.fromkeys(("salinitat", "salinite", "salzgehalt", "saltholdighet", "salinitet", "saltinnhold", "salinidad",
                     "saliniteit", "zoutgehalte", "sg", "s.g.", "specific gravity", "density", "dichte", "densite",
                     "tetthet", "salt"), "salinity"),
    **dict.fromkeys(("alkalinitat", "alkalinite", "alcalinite", "alkalinitet", "alcalinidad", "karbonatharte",
                     "karbonathardhet", "carbonate hardness", "durete carbonatee", "dureza de carbonatos",
                     "carbonaathardheid", "dkh", "alk.", "ta", "total alkalinity"), "alkalinity"),
    **dict.fromkeys(("kalzium", "kalsium", "calcio", "ca++", "ca2+", "calc"), "calcium"),
    **dict.fromkeys(("magnesio", "mg++", "mg2+", "mag"), "magnesium"),
    **dict.fromkeys(("kalium", "potasio", "k+"), "potassium"),
    **dict.fromkeys(("ph-wert", "ph wert", "ph value", "ph-verdi"), "ph"),
    **dict.fromkeys(("nitrat", "nitrato", "nitrates", "nitraat", "no3-"), "nitrate"),
    **dict.fromkeys(("nitrit", "nitrito", "nitrites", "nitriet", "no2-"), "nitrite"),
    **dict.fromkeys(("ammonium", "ammoniak", "ammoniakk", "amoniaco", "ammoniaque", "nh3/nh4", "nh4/nh3", "nh4+"),
                    "ammonia"),
    **dict.fromkeys(("phosphat", "fosfat", "fosfato", "phosphates", "fosfaat", "po4---", "po43-"), "phosphate"),
    **dict.fromkeys(("silikat", "silicato", "silicates", "silikaat", "sio2"), "silicate"),
    **dict.fromkeys(("jod", "iode", "yodo"), "iodine"),
    **dict.fromkeys(("eisen", "jern", "fer", "hierro", "ijzer"), "iron"),
    **dict.fromkeys(("kupfer", "kobber", "cuivre", "cobre", "koper"), "copper"),
    **dict.fromkeys(("zink",), "zinc"),
    **dict.fromkeys(("sauerstoff", "oksygen", "oxygene", "oxigeno", "zuurstof", "dissolved oxygen"), "oxygen"),
    **dict.fromkeys(("leitfahigkeit", "leitwert", "konduktivitet", "ledningsevne", "conductivite", "geleidbaarheid"),
                    "conductivity"),
    **dict.fromkeys(("feeding", "feed", "food", "futter", "futterung", "nourriture", "comida", "voer"),
                    "feeding:food"),
    **dict.fromkeys(("baking soda", "natron", "bicarb", "bicarbonate", "natriumhydrogencarbonat"),
                    "addition:sodium-bicarbonate"),
    **dict.fromkeys(("soda ash", "natriumcarbonat", "washing soda"), "addition:sodium-carbonate"),
    **dict.fromkeys(("vinegar", "essig", "vinaigre", "eddik"), "addition:acetic-acid-5"),
    **dict.fromkeys(("vodka", "wodka"), "addition:ethanol-40"),
    **dict.fromkeys(("lime", "slaked lime"), "addition:calcium-hydroxide"),
    **dict.fromkeys(("salt mix", "sea salt", "meersalz", "havsalt"), "addition:sea-salt"),
}  # fmt: skip
_DOSED = re.compile(r"\b(dose|dosed|dosing|dosage|dosierung|dosierte?|dosering|added|addition|zugabe|tilsatt)\b")
_IMPLIED = {"dkh": "dKH", "kh": "dKH", "karbonatharte": "dKH", "karbonathardhet": "dKH"}  # the word is the unit
_UNSCALED = frozenset({"sg", "s.g.", "specific gravity", "density", "dichte", "densite", "tetthet"})
_FORM = re.compile(r"^(no3|no2|nh3|nh4|nitrate|nitrite|nitrat|nitrit|ammonia|ammonium)[- ]?n$|^(po4|phosphate?)[- ]?p$")
_LONGEST = 500  # of a heading that is taken apart: the pattern takes n² steps
_BRACKETS = re.compile(r"^(.*?)\s*[(\[{]([^)\]}]*)[)\]}]\s*(.*)$", re.S)


@dataclass(frozen=True, slots=True)
class Column:
    """What one column of a spreadsheet becomes.

    `role` is `date`, `time`, `system`, `note`, `ignore`, or a kind of entry; `subject` belongs to the kind.
    `known` is False when only the contents told what to make of it.
    """

    header: str
    role: str
    subject: str = ""
    unit: str = ""
    known: bool = True

    def text(self) -> str:
        """What it becomes, as it is written for `--column`."""
        return f"{self.role}:{self.subject}" if self.subject else self.role


def plain(text: str) -> str:
    """Lower case, without accents, spaces in a row, and line ends."""
    flat = unicodedata.normalize("NFKD", text.casefold()).replace("’", "'")
    flat = "".join(c for c in flat if not unicodedata.combining(c))
    return " ".join(flat.replace("_", " ").replace("ø", "o").split()).strip(" :")


def told(header: str) -> Column | None:
    """What a heading says its column is, or None when its words are unknown."""
    name, unit = _parted(header)
    what = _meaning(name)
    if what is None:
        return None
    role, _, subject = what.partition(":")
    if not subject and (role in QUANTITIES or role == "ph_total"):
        role, subject = "reading", role
    if role == "reading":
        unit = _with_form(plain(name), subject, unit)
    return Column(header, role, subject, unit)


def as_said(header: str, said: str, unit: str = "") -> Column:
    """The column the keeper named with `--column HEADER=...`.

    Raises
    ------
    BadInput
        When that is nothing a column can be.
    """
    role, _, subject = said.partition(":")
    role, subject = role.strip(), subject.strip()
    name, own_unit = _parted(header)
    if not subject and role not in ("date", "time", "system", "note", "ignore"):
        found = _meaning(role)
        if found is None:
            roles = ["date", "time", "system", "note", "ignore", *QUANTITIES]
            way_out = "For example alkalinity, addition:sodium-bicarbonate, note or ignore."
            raise UnknownName("meaning of a column", said, roles, where=f"--column {header}", way_out=way_out)
        role, _, subject = found.partition(":")
        if not subject and role in QUANTITIES:
            role, subject = "reading", role
    if role == "reading":
        subject = canonical_name(subject) or subject
        own_unit = _with_form(plain(name), subject, own_unit)
    elif role not in ("date", "time", "system", "note", "ignore"):
        subject = subjects.settled(role, subject, subjects.KNOWN)
    return Column(header, role, subject, unit or own_unit)


def is_unit(text: str, subject: str = "") -> bool:
    """Whether a text is a unit (of that quantity, or of any mass or volume)."""
    if not text.strip():
        return False
    if subject in QUANTITIES:
        try:
            convert.linear(subject, text)
        except UnknownName:
            return False
        except BadInput:
            return True  # a unit, though it leaves something open
        return True
    key = units.unit_key(text)
    return any(key in units.SCALES[d] for d in ("mass", "volume"))


def unit_missing(column: Column) -> bool:
    """Whether the keeper must say in which unit a column is."""
    if column.unit or column.role in ("date", "time", "system", "note", "ignore"):
        return False
    if column.role == "reading":
        return column.subject in QUANTITIES and column.subject not in amounts.NO_UNIT
    return column.role in (*amounts.VOLUME, *amounts.MASS_OR_VOLUME)


def _parted(header: str) -> tuple[str, str]:
    """Name and unit of a heading: `Alk (dKH)`, `Salinity [ppt]`, `Ca mg/l`, `Temp, °F`, `PO4/ppm`."""
    header = " ".join(header.split())
    match = _BRACKETS.match(header) if len(header) <= _LONGEST else None
    if match:
        name = f"{match[1]} {match[3]}".strip()
        what = _meaning(name)
        unit = match[2].strip()
        return name, "" if what in ("date", "time") and unit.upper() not in ("UTC", "GMT") else unit
    if _meaning(header) is not None and not _DOSED.search(plain(header)):
        return header, _IMPLIED.get(plain(header), "sg" if plain(header) in _UNSCALED else "")
    for cut in [m.start() for m in re.finditer(r"[\s,;/:\-]", header)]:
        name, unit = header[:cut].strip(" ,;/:-"), header[cut:].strip(" ,;/:-")
        what = _meaning(name)
        if what is None or what in ("date", "time", "note"):
            continue
        if is_unit(unit, what if what in QUANTITIES else ""):
            return name, unit
    return header, ""


def _meaning(name: str) -> str | None:
    word = plain(name)
    if not word:
        return None
    if _FORM.match(word):
        word = re.sub(r"[- ]?[np]$", "", word)
    found = _WORDS.get(word) or canonical_name(word)
    dosed = _DOSED.search(word)
    if dosed:
        bare = " ".join(_DOSED.sub(" ", word).split())
        inner = _WORDS.get(bare, "")
        if inner.startswith("addition:"):
            return inner
        slug = re.sub(r"[^a-z0-9]+", "-", bare).strip("-")
        return f"addition:{slug}" if slug else None  # a dose of something: 'alk dose' is not a reading
    if found:
        return found
    slug = "-".join(re.sub(r"[^a-z0-9]+", " ", word).split())
    if slug in substances.SUBSTANCES or slug in subjects.KNOWN["addition"]:
        return f"addition:{slug}"
    if slug in subjects.KNOWN["feeding"]:
        return f"feeding:{slug}"
    return None


def _with_form(word: str, subject: str, unit: str) -> str:
    """`NO3-N` with `mg/L` is `mg/L as N`; a heading that is itself a unit (`dKH`, `SG`) gives it."""
    if not unit:
        return _IMPLIED.get(word, "sg" if word in _UNSCALED else "")
    if word in _UNSCALED and units.unit_key(unit) in ("", "1"):
        return "sg"
    if _FORM.match(word) and " as " not in unit and subject != "ammonia":
        return f"{unit} as {word[-1].upper()}"
    return unit
