"""Fonts in a PDF: a subset of the glyphs in use, numbered as they come, with the way back to the text.

References
----------
ISO 32000-1:2008, 9.7.4 (CIDFonts), 9.8 (font descriptors), 9.10.3 (ToUnicode); clauses from memory.
"""

from __future__ import annotations

import zlib
from typing import Final

from converter.draw.fonts import FONT_FILES, font_file
from converter.draw.pdf_file import PdfFile, reference

_SYMBOLIC: Final = 4
_ITALIC: Final = 64
_BLOCK: Final = 100
"""Most entries of one block of a character map."""


class FontSubset:
    """One face of a document, with the glyphs that were asked for."""

    def __init__(self, face: str, name: str, pdf: PdfFile) -> None:
        self.face = face
        self.name = name
        """In the page's resources, such as ``F1``."""
        self.number = pdf.reserve()
        self._pdf = pdf
        self._font = font_file(face)
        self._glyphs: list[int] = [0]
        self._texts: list[str] = [""]
        self._codes: dict[str, str] = {}

    def encode(self, text: str) -> str:
        """Return a text as four hexadecimal digits a character."""
        return "".join([self._codes.get(char) or self._take(char) for char in text])

    def _take(self, char: str) -> str:
        code = f"{len(self._glyphs):04X}"
        self._codes[char] = code
        self._glyphs.append(self._font.glyph(ord(char)))
        self._texts.append(char)
        return code

    def finish(self) -> None:
        """Write the font and its parts into the file."""
        font, pdf = self._font, self._pdf
        per_mille = 1000 / font.em
        data = font.subset(self._glyphs)
        stem = FONT_FILES[self.face].removesuffix(".ttf")
        name = f"{_tag(stem, self._texts)}+{stem}"
        file = pdf.add_stream(data, f"/Length1 {len(data)}")
        box = " ".join(str(round(edge * per_mille)) for edge in font.box)
        flags = _SYMBOLIC | (_ITALIC if font.italic_deg else 0)
        descriptor = pdf.add(
            f"<</Type/FontDescriptor/FontName/{name}/Flags {flags}/FontBBox[{box}]"
            f"/ItalicAngle {font.italic_deg:g}/Ascent {round(font.ascent * per_mille)}"
            f"/Descent {round(font.descent * per_mille)}/CapHeight {round(font.cap_height * per_mille)}"
            f"/StemV {120 if 'Bold' in stem else 80}/FontFile2 {reference(file)}>>"
        )
        widths = " ".join(f"{font.advance(glyph) * per_mille:.5g}" for glyph in self._glyphs)
        child = pdf.add(
            f"<</Type/Font/Subtype/CIDFontType2/BaseFont/{name}"
            "/CIDSystemInfo<</Registry(Adobe)/Ordering(Identity)/Supplement 0>>"
            f"/FontDescriptor {reference(descriptor)}/CIDToGIDMap/Identity/W[0[{widths}]]>>"
        )
        words = pdf.add_stream(self._unicode_map().encode("ascii"))
        pdf.add(
            f"<</Type/Font/Subtype/Type0/BaseFont/{name}/Encoding/Identity-H"
            f"/DescendantFonts[{reference(child)}]/ToUnicode {reference(words)}>>",
            self.number,
        )

    def _unicode_map(self) -> str:
        """Return the character map from codes back to Unicode."""
        lines = [
            "/CIDInit/ProcSet findresource begin 12 dict begin begincmap",
            "/CIDSystemInfo<</Registry(Adobe)/Ordering(UCS)/Supplement 0>>def",
            "/CMapName/Adobe-Identity-UCS def/CMapType 2 def",
            "1 begincodespacerange<0000><FFFF>endcodespacerange",
        ]
        entries = [
            f"<{code:04X}><{text.encode('utf-16-be', 'replace').hex().upper()}>"
            for code, text in enumerate(self._texts)
            if code
        ]
        for start in range(0, len(entries), _BLOCK):
            block = entries[start : start + _BLOCK]
            lines.append(f"{len(block)} beginbfchar{''.join(block)}endbfchar")
        lines.append("endcmap CMapName currentdict/CMap defineresource pop end end")
        return "\n".join(lines)


def _tag(stem: str, texts: list[str]) -> str:
    """Return the six capitals that mark a subset; they differ where the glyphs do."""
    value = zlib.crc32("".join(texts).encode("utf-8", "replace"), zlib.crc32(stem.encode("ascii")))
    letters = ""
    for _ in range(6):
        value, letter = divmod(value, 26)
        letters += chr(65 + letter)
    return letters
