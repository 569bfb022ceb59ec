"""The words somebody looks for holders by, in the languages the kiosk speaks, all at once: a shop mixes them.

A word stands here as `folded` leaves it, without accents: gloves leave them out, and capital and small letters of
Turkish are two pairs (ı I, i İ) of which a scanner or a keyboard keeps one.  `*` is any ending, `_` a space or a dash.
Nothing here knows a holder.
"""

from __future__ import annotations

import re
import unicodedata

_PLAIN = str.maketrans({"ı": "i", "ł": "l", "đ": "d"})  # letters that no accent can be taken from


def folded(text: str) -> str:
    """Small letters without accents, the same for a word however it was typed; its length may differ."""
    if text.isascii():  # a hundred thousand holders mostly are
        return text.lower()
    parts = unicodedata.normalize("NFD", text.casefold())
    return "".join(part for part in parts if unicodedata.category(part) != "Mn").translate(_PLAIN)


def alternatives(*by_language: str) -> str:
    """A regular expression for any of these words."""
    words = sorted({word for line in by_language for word in line.split()}, key=len, reverse=True)
    return "|".join(re.escape(word).replace(r"\*", r"\w*").replace("_", r"[\s-]*") for word in words)


def any_of(*by_language: str) -> re.Pattern[str]:
    """Any of these words, whole."""
    return re.compile(rf"\b(?:{alternatives(*by_language)})\b")


TO = r"\s*(?:-|–|\.\.|to|bis)\s*|\s+(?:a|ate|do|az|ile)\s+"
LENGTH = alternatives(
    "length long", "lange laenge lang", "longueur", "longitud largo", "lunghezza lungo", "comprimento", "dlugosc",
    "delka", "uzunluk boy",
)  # fmt: skip
DIAMETER = alternatives("diameter dia", "durchmesser", "diametre diam", "diametro", "srednica", "prumer", "cap capi")
SHANK = alternatives(
    "shank shanks", "schaft", "queue", "mango vastago", "codolo gambo", "haste encabadouro", "chwyt trzonek",
    "stopka", "sap saft",
)  # fmt: skip
FREE = any_of(
    "free empty bare", "frei* leer*", "libre* vide vides", "vacio* vacia*", "liber* vuot*", "livre* vazi*",
    "woln* pust*", "voln* prazdn*", "bos bosta serbest",
)  # fmt: skip
SHRINK_FIT = any_of(
    "shrink_fit shrink", "schrumpf*", "frettage frette fretter", "termic* contraccion", "calettament* a_caldo",
    "contracao", "skurcz* termokurcz*", "smrst* tepeln*", "daraltma isitmali",
)  # fmt: skip
COLLET = any_of(
    "collet", "spannzange*", "pince pinces", "pinza pinzas", "pinze", "pinca pincas", "tulejk*",
    "klestin*", "pens pensi",
)  # fmt: skip
SIDE_SCREW = any_of(
    "side_screw", "spannschraube", "vis_laterale", "tornillo_lateral", "vite_laterale", "parafuso_lateral",
    "srub*_boczn*", "bocni*_sroub*", "yan_vida",
)  # fmt: skip
PRESS_FIT = any_of(
    "press_fit", "press*sitz", "emmanch*", "ajuste_a_presion", "forzato", "ajuste_por_pressao", "wcisk*", "lisovan*",
    "pres_gecme siki_gecme",
)  # fmt: skip
MORSE_TAPER = any_of(
    "morse_taper morse", "morse_kegel morsekegel", "cone_morse", "cono_morse", "stozek_morse'a stozek_morsea",
    "morse_kuzel kuzel_morse", "mors_konigi mors",
)  # fmt: skip
WORN = any_of(
    "worn", "verschlissen", "use usee uses usees", "gastad* desgastad*", "usurat*", "gasto gasta", "zuzyt* stepion*",
    "opotreben*", "asinmis",
)  # fmt: skip
BROKEN = any_of(
    "broken", "gebrochen", "casse* brise*", "roto rota rotos rotas", "rotto rotta rotti", "partid* quebrad*",
    "zlaman* pekniet*", "zlomen* praskl*", "kirik kirilmis",
)  # fmt: skip
HOT = any_of("hot", "heiss*", "chaud*", "caliente*", "caldo calda caldi calde", "quente*", "gorac*", "hork*", "sicak")
NOWHERE = any_of(
    "missing nowhere", "fehlt vermisst", "manquant* perdu*", "falta faltan", "mancante mancanti", "em_falta",
    "brak brakuje zaginion*", "chybi chybejici", "kayip eksik",
)  # fmt: skip
# Words of a sentence that say nothing about a holder.
FILLERS = frozenset(
    (
        *("for", "with", "the", "an", "of", "in", "at", "mm", "holder", "holders", "halter"),
        *("fur", "fuer", "mit", "der", "die", "das", "den", "einen", "eine", "ein", "einem", "im"),
        *("pour", "avec", "une", "des", "porte-outil", "porte-outils", "para", "con", "una", "portaherramientas"),
        *("per", "portautensile", "portautensili", "com", "uma", "porta-ferramentas", "dla", "oprawka", "oprawki"),
        *("pro", "drzak", "drzaky", "icin", "bir", "tutucu", "tutucular", "de", "di", "da", "del"),
    )
)
