"""English sentences that remember how they were put together, so that a table can say them in another language."""

from __future__ import annotations

from typing import Any, Self


class Phrase(str):
    """A finished English text with its template and values.

    Whoever takes it as text has plain English; `converter.draw.words.Words.say` says it in another language. Joining
    and cutting give plain texts: put phrases together as values of a phrase, or with `sentences`.

    Parameters
    ----------
    template : str
        The sentence, written out in the code where it is used, with its values named in braces.
    several : str
        Form for every number but one; ``number`` is then among the values.
    **values
        Phrases among them are said in the other language too; other texts stay as they are.

    Examples
    --------
    >>> Phrase("Trim the front to {size}.", size=Phrase("{number} square", "{number} squares", number=4))
    'Trim the front to 4 squares.'
    """

    template: str
    several: str
    values: dict[str, Any]

    def __new__(cls, template: str, several: str = "", /, **values: Any) -> Self:
        """Put the English text together."""
        english = several if several and values["number"] != 1 else template
        phrase = super().__new__(cls, english.format(**values))
        phrase.template, phrase.several, phrase.values = template, several, values
        return phrase

    def __getnewargs_ex__(self) -> tuple[tuple[str, str], dict[str, Any]]:
        """Return what a copy is made from."""
        return (self.template, self.several), self.values


class Measure(Phrase):
    """A measure in inches and in centimetres: its values ``imperial`` and ``metric`` can each stand alone.

    Examples
    --------
    >>> Measure("{imperial} ({metric})", imperial=Phrase("{value} in", value=2), metric=Phrase("{value} cm", value=5))
    '2 in (5 cm)'
    """


def sentences(*parts: str) -> Phrase:
    """Return sentences one after the other; empty ones fall away.

    Examples
    --------
    >>> sentences(Phrase("Comb the fringe."), "", Phrase("Trim it even."))
    'Comb the fringe. Trim it even.'
    """
    kept = {f"part{number}": part for number, part in enumerate(filter(None, parts), 1)}
    return Phrase(" ".join(f"{{{name}}}" for name in kept), **kept)
