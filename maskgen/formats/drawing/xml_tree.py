"""XML to a plain tree: no entity is declared, nothing outside the file is read, size and depth are bounded.

A document type that only names the SVG standard is common and harmless, and skipped; one that declares anything is
refused, since entities can be bombs or read other files.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

from maskgen.errors import InputError
from maskgen.formats.drawing.limits import MAX_DEPTH, MAX_ELEMENTS, too_much

SVG_NAMESPACE = "http://www.w3.org/2000/svg"
XML_PREFIX = "xml"


@dataclass(slots=True)
class Element:
    """An element: `tag` without its prefix, empty for one outside SVG; attributes by name without prefix."""

    tag: str
    attributes: dict[str, str]
    line: int
    children: list[Element] = field(default_factory=list)
    text: str = ""

    def walk(self) -> Iterator[Element]:
        """This element and everything in it, in file order."""
        waiting = [self]
        while waiting:
            element = waiting.pop()
            yield element
            waiting.extend(reversed(element.children))

    def all_text(self) -> str:
        """The characters in this element and all it contains, blanks collapsed."""
        return " ".join(" ".join(element.text for element in self.walk()).split())

    @property
    def place(self) -> str:
        """Words that find the element again in the file."""
        key = self.attributes.get("id")
        return f"line {self.line}, <{self.tag}{f' id={key}' if key else ''}>"


def parse_xml(data: bytes, *, name: str) -> Element:
    """Parse a document.

    Raises
    ------
    InputError
        When it is not well formed, declares entities, or is over a cap.
    """
    builder = _Builder(name)
    parser = builder.parser
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise InputError(
            f"not well-formed XML (line {error.lineno}: {expat.errors.messages.get(error.code, str(error))})",
            where=name,
            mend="export the drawing again",
        ) from error
    except (ValueError, LookupError, UnicodeError) as error:
        raise InputError(f"cannot be decoded: {error}", where=name, mend="save it as UTF-8") from error
    assert builder.root is not None
    return builder.root


class _Builder:
    """Collects the tree from the parser's calls."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.root: Element | None = None
        self.open: list[Element] = []
        self.count = 0
        self.prefixes: list[dict[str, str]] = [{XML_PREFIX: XML_PREFIX}]
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        parser.StartElementHandler = self.start
        parser.EndElementHandler = self.end
        parser.CharacterDataHandler = self.characters
        parser.EntityDeclHandler = self.refuse
        parser.UnparsedEntityDeclHandler = self.refuse
        parser.ExternalEntityRefHandler = self.refuse
        parser.AttlistDeclHandler = self.refuse
        self.parser = parser

    def refuse(self, *_: object) -> int:
        raise InputError(
            "the document type declares entities or attributes",
            where=f"{self.name}, line {self.parser.CurrentLineNumber}",
            mend="save it as plain SVG without a document type",
        )

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if self.count > MAX_ELEMENTS:
            raise too_much("too many elements", MAX_ELEMENTS, name=self.name)
        if len(self.open) >= MAX_DEPTH:
            raise too_much("elements are nested too deeply", MAX_DEPTH, name=self.name)
        self.prefixes.append(self._declared(attributes))
        element = Element(self._local(tag), self._plain(attributes), self.parser.CurrentLineNumber)
        if self.open:
            self.open[-1].children.append(element)
        else:
            self.root = element
        self.open.append(element)

    def end(self, _: str) -> None:
        self.open.pop()
        self.prefixes.pop()

    def characters(self, text: str) -> None:
        self.open[-1].text += text

    def _declared(self, attributes: dict[str, str]) -> dict[str, str]:
        found = {k[6:]: v.strip() for k, v in attributes.items() if k.startswith("xmlns:") or k == "xmlns"}
        return {**self.prefixes[-1], **found} if found else self.prefixes[-1]

    def _local(self, tag: str) -> str:
        """Strip the prefix; a document that forgot to declare SVG is taken as meaning it."""
        prefix, _, local = tag.rpartition(":")
        namespace = self.prefixes[-1].get(prefix, SVG_NAMESPACE if prefix in ("", "svg") else "")
        return local if namespace == SVG_NAMESPACE else ""

    @staticmethod
    def _plain(attributes: dict[str, str]) -> dict[str, str]:
        """Keep attributes without a prefix, and `xlink:href` (any prefix) as `href` where that is not there itself."""
        plain = {k: v for k, v in attributes.items() if ":" not in k and k != "xmlns"}
        for key, value in attributes.items():
            if key.endswith(":href"):
                plain.setdefault("href", value)
        return plain
