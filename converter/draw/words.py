"""The words on printed sheets, through gettext: English in the code, other languages as tables.

A table for a language lies at ``converter/data/locale/LANGUAGE/LC_MESSAGES/onecolour.mo``; the template
``onecolour.pot`` beside them lists every sentence.
"""

from __future__ import annotations

import gettext
from functools import cache
from math import ceil
from pathlib import Path
from typing import Any, Final

from converter.model.phrase import Measure, Phrase
from converter.units import MM_PER_INCH

LOCALE_DIR: Final = Path(__file__).resolve().parent.parent / "data" / "locale"
DOMAIN: Final = "onecolour"


class Words:
    """Sentences and numbers in one language.

    Parameters
    ----------
    language : str
        BCP 47 tag such as ``en`` or ``de``; a language without a table gives English.
    units : str
        ``both``, ``cm`` or ``in``: how sizes are written.
    table : gettext.NullTranslations, optional
        Use this table instead of the one found for the language.
    """

    def __init__(
        self, language: str = "en", units: str = "both", table: gettext.NullTranslations | None = None
    ) -> None:
        if table is None:
            name = language.replace("-", "_")
            table = gettext.translation(DOMAIN, str(LOCALE_DIR), [name, name.split("_")[0]], fallback=True)
        self.language = language
        self.units = units
        self._table = table

    def __call__(self, text: str, **values: Any) -> str:
        """Return a sentence with its values filled in.

        Examples
        --------
        >>> Words()("Part {part} of {parts}", part=2, parts=6)
        'Part 2 of 6'
        """
        return self._filled(self._table.gettext(text), values) if text else ""

    def many(self, one: str, several: str, number: float, **values: Any) -> str:
        """Return the form of a sentence that goes with a number.

        Examples
        --------
        >>> Words().many("{number} stitch", "{number} stitches", 1)
        '1 stitch'
        """
        shown = f"{number:,}" if number == int(number) and isinstance(number, int) else f"{number:g}"
        return self._filled(self._table.ngettext(one, several, ceil(number)), {"number": shown, **values})

    def say(self, text: str) -> str:
        """Return a finished text in this language and in her units.

        A `Phrase` is put together anew, and of a `Measure` what she reads is kept; another text is looked up as it is.

        Examples
        --------
        >>> inch = Measure("{imperial} ({metric})", imperial=Phrase("{value} in", value=1), metric=Phrase("2.5 cm"))
        >>> Words(units="cm").say(Phrase("Turn {fold} under.", fold=inch))
        'Turn 2.5 cm under.'
        """
        if not isinstance(text, Phrase):
            return self._table.gettext(text) if text else ""
        if isinstance(text, Measure) and self.units != "both":
            return self.say(text.values["metric" if self.units == "cm" else "imperial"])
        if text.several:
            template = self._table.ngettext(text.template, text.several, text.values["number"])
        else:
            template = self._table.gettext(text.template)
        return self._filled(template, text.values)

    def _filled(self, template: str, values: dict[str, Any]) -> str:
        said = {name: self.say(value) if isinstance(value, Phrase) else value for name, value in values.items()}
        return template.format(**said)

    def length(self, length_mm: float) -> str:
        """Return a length in her units.

        Examples
        --------
        >>> Words(units="cm").length(254.0)
        '25.4 cm'
        >>> Words().length(254.0)
        '10.00 in (25.4 cm)'
        """
        metric = self("{value} cm", value=f"{length_mm / 10:.1f}")
        inches = self("{value} in", value=f"{length_mm / MM_PER_INCH:.2f}")
        return {"cm": metric, "in": inches}.get(self.units, f"{inches} ({metric})")

    def rough_length(self, length_mm: float) -> str:
        """Return a length as one says it: whole centimetres, half inches.

        Examples
        --------
        >>> Words().rough_length(450.0)
        '18 in (45 cm)'
        >>> Words(units="cm").rough_length(40.0)
        '4 cm'
        """
        metric = self("{value} cm", value=f"{round(length_mm / 10)}")
        exact = length_mm / MM_PER_INCH
        inches = self("{value} in", value=f"{round(exact) if exact > 6 else round(2 * exact) / 2:g}")
        return {"cm": metric, "in": inches}.get(self.units, f"{inches} ({metric})")

    def size(self, width_mm: float, height_mm: float) -> str:
        """Return a width and height in her units.

        Examples
        --------
        >>> Words(units="in").size(254.0, 190.5)
        '10.00 × 7.50 in'
        """
        metric = self("{width} × {height} cm", width=f"{width_mm / 10:.1f}", height=f"{height_mm / 10:.1f}")
        width_in, height_in = width_mm / MM_PER_INCH, height_mm / MM_PER_INCH
        inches = self("{width} × {height} in", width=f"{width_in:.2f}", height=f"{height_in:.2f}")
        return {"cm": metric, "in": inches}.get(self.units, f"{inches} ({metric})")


@cache
def english() -> Words:
    """Return the words as the code has them."""
    return Words()
