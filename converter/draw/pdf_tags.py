"""The structure tree of a tagged PDF: headings, paragraphs and figures in reading order.

ISO 32000-1:2008, 14.7 and 14.8 (clauses from memory): each tagged part of a page is a marked-content
sequence with a number; the tree's elements point to these numbers, and the page points back.
Everything untagged is an artifact, which screen readers pass over.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from converter.draw.canvas import GROUP_ROLES as GROUPS
from converter.draw.canvas import TagOp
from converter.draw.pdf_file import PdfFile, array, pdf_string, reference


@dataclass(eq=False)
class _Element:
    """One part of the document's structure, on its way into the file."""

    number: int
    role: str
    parent: int
    alt: str = ""
    page: int = 0
    """Number of the page's object; 0 for parts that hold other parts."""
    kids: list[str] = field(default_factory=list)

    def text(self) -> str:
        alt = f"/Alt{pdf_string(self.alt)}" if self.alt else ""
        page = f"/Pg {reference(self.page)}" if self.page else ""
        kids = self.kids[0] if len(self.kids) == 1 else array(self.kids)
        return f"<</Type/StructElem/S/{self.role}/P {reference(self.parent)}{alt}{page}/K {kids}>>"


class TagTree:
    """Collects the structure elements while the pages are drawn."""

    def __init__(self, pdf: PdfFile) -> None:
        self._pdf = pdf
        self._root = pdf.reserve()
        self._body = _Element(pdf.reserve(), "Document", self._root)
        self._elements = [self._body]
        self._stack: list[str] = []
        self._group: _Element | None = None
        self._page_parents: list[list[str]] = []
        self._page_number = 0
        self._artifact = False
        self._hidden = False

    def begin_page(self, number: int) -> None:
        """Start the page of this object number; what comes first on it is an artifact until a tag opens."""
        self._page_parents.append([])
        self._page_number = number
        self._artifact = False

    def _close_artifact(self) -> list[str]:
        if self._artifact:
            self._artifact = False
            return ["EMC"]
        return []

    def open_artifact(self) -> list[str]:
        """Return operators that mark what follows as outside the reading order."""
        if self._artifact or (self._stack and not self._hidden and self._stack[-1] not in GROUPS):
            return []
        self._artifact = True
        return ["/Artifact BMC"]

    def _element(self, op: TagOp, parent: _Element) -> _Element:
        element = _Element(self._pdf.reserve(), op.role, parent.number, op.alt)
        parent.kids.append(reference(element.number))
        self._elements.append(element)
        return element

    def open(self, op: TagOp) -> list[str]:
        """Return the operators that open a part."""
        if self._hidden or any(role not in (*GROUPS, "inner") for role in self._stack):
            self._stack.append("inner")
            return []
        if op.role == "Artifact":
            self._stack.append("hidden")
            self._hidden = True
            return []
        code = self._close_artifact()
        self._stack.append(op.role)
        if op.role in GROUPS:
            if self._group is None:
                self._group = self._element(op, self._body)
            return code
        element = self._element(op, self._body if self._group is None else self._group)
        parents = self._page_parents[-1]
        number = len(parents)
        element.kids.append(str(number))
        element.page = self._page_number
        parents.append(reference(element.number))
        code.append(f"/{op.role} <</MCID {number}>> BDC")
        return code

    def close(self) -> list[str]:
        """Return the operators that close the innermost part."""
        role = self._stack.pop()
        if role == "inner":
            return []
        if role == "hidden":
            self._hidden = False
            return []
        if role in GROUPS:
            if not any(other in GROUPS for other in self._stack):
                self._group = None
            return []
        return ["EMC"]

    def end_page(self) -> list[str]:
        """Return the operators that close what is open."""
        return self._close_artifact()

    def page_entries(self) -> str:
        """Return what the page's dictionary says of its parts."""
        return f"/StructParents {len(self._page_parents) - 1}/Tabs/S"

    def finish(self) -> str:
        """Write the tree into the file and return what the catalog says of it."""
        pdf = self._pdf
        for element in self._elements:
            pdf.add(element.text(), element.number)
        numbers = [f"{i} {reference(pdf.add(array(parents)))}" for i, parents in enumerate(self._page_parents)]
        tree = pdf.add(f"<</Nums{array(numbers)}>>")
        pdf.add(
            f"<</Type/StructTreeRoot/K[{reference(self._body.number)}]/ParentTree {reference(tree)}"
            f"/ParentTreeNextKey {len(self._page_parents)}>>",
            self._root,
        )
        return f"/StructTreeRoot {reference(self._root)}/MarkInfo<</Marked true>>"
