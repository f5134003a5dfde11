"""The structure tree of a tagged PDF: headings, paragraphs and figures in reading order.

ISO 32000-1:2008, 14.7 and 14.8 (clauses from memory): each tagged part of a page is a marked-content
sequence with a number; the tree's elements point to these numbers, and the page points back.
Everything untagged is an artifact, which screen readers pass over.
"""

from __future__ import annotations

from typing import Any

from reportlab.pdfbase import pdfdoc

from converter.draw.canvas import GROUP_ROLES as GROUPS
from converter.draw.canvas import TagOp


class TagTree:
    """Collects the structure elements while the pages are drawn."""

    def __init__(self, document: Any) -> None:
        self._document = document
        self._root = pdfdoc.PDFDictionary()
        self._root_reference = document.Reference(self._root)
        self._body = pdfdoc.PDFDictionary()
        self._body_reference = document.Reference(self._body)
        self._body_kids: list[Any] = []
        self._stack: list[str] = []
        self._group: tuple[Any, Any, list[Any]] | None = None
        self._page_parents: list[list[Any]] = []
        self._page_elements: list[Any] = []
        self._artifact = False
        self._hidden = False

    @property
    def hidden(self) -> bool:
        """True inside a part that only furnishes the page."""
        return self._hidden

    def begin_page(self) -> None:
        """Start a page; what comes first on it is an artifact until a tag opens."""
        self._page_parents.append([])
        self._page_elements = []
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

    def _element(self, role: str, parent: Any, alt: str) -> tuple[Any, Any]:
        element = pdfdoc.PDFDictionary()
        reference = self._document.Reference(element)
        element["Type"] = pdfdoc.PDFName("StructElem")
        element["S"] = pdfdoc.PDFName(role)
        element["P"] = parent
        if alt:
            element["Alt"] = pdfdoc.PDFString(alt)
        return element, reference

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
                element, reference = self._element(op.role, self._body_reference, op.alt)
                self._body_kids.append(reference)
                self._group = (element, reference, [])
            return code
        parent, kids = (self._body_reference, self._body_kids) if self._group is None else self._group[1:]
        element, reference = self._element(op.role, parent, op.alt)
        kids.append(reference)
        parents = self._page_parents[-1]
        number = len(parents)
        element["K"] = number
        self._page_elements.append(element)
        parents.append(reference)
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
            if not any(other in GROUPS for other in self._stack) and self._group is not None:
                self._group[0]["K"] = pdfdoc.PDFArray(self._group[2])
                self._group = None
            return []
        return ["EMC"]

    def end_page(self) -> list[str]:
        """Return the operators that close what is open."""
        return self._close_artifact()

    def attach(self, page: Any) -> None:
        """Tie the finished page to its elements."""
        page.__NoDefault__ = [*pdfdoc.PDFPage.__NoDefault__, "StructParents", "Tabs"]
        page.StructParents = len(self._page_parents) - 1
        page.Tabs = pdfdoc.PDFName("S")
        reference = self._document.Reference(page)
        for element in self._page_elements:
            element["Pg"] = reference

    def finish(self) -> None:
        """Write the tree into the document's catalog."""
        document = self._document
        self._body["Type"] = pdfdoc.PDFName("StructElem")
        self._body["S"] = pdfdoc.PDFName("Document")
        self._body["P"] = self._root_reference
        self._body["K"] = pdfdoc.PDFArray(self._body_kids)
        numbers: list[Any] = []
        for i, parents in enumerate(self._page_parents):
            numbers += [i, document.Reference(pdfdoc.PDFArray(parents))]
        tree = pdfdoc.PDFDictionary({"Nums": pdfdoc.PDFArray(numbers)})
        self._root["Type"] = pdfdoc.PDFName("StructTreeRoot")
        self._root["K"] = pdfdoc.PDFArray([self._body_reference])
        self._root["ParentTree"] = document.Reference(tree)
        self._root["ParentTreeNextKey"] = len(self._page_parents)
        document.Catalog.StructTreeRoot = self._root
        document.Catalog.MarkInfo = pdfdoc.PDFDictionary({"Marked": pdfdoc.PDFtrue})
