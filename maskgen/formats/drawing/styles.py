"""The style of SVG elements: presentation attributes, style sheets, `style` attributes, inheritance.

Selectors of types, classes, identifiers and attributes, alone or compound, as descendants and children. Anything else
(pseudo-classes and the like) is named, never guessed. Nothing is imported.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType

import tinycss2

from maskgen.formats.drawing.xml_tree import Element

INHERITED = frozenset(
    (
        *("fill", "fill-rule", "fill-opacity", "stroke", "stroke-width", "stroke-opacity", "stroke-linecap"),
        *("stroke-linejoin", "stroke-miterlimit", "stroke-dasharray", "stroke-dashoffset", "visibility", "clip-rule"),
        *("color", "marker-start", "marker-mid", "marker-end", "font-size", "paint-order"),
    )
)
OWN = frozenset(
    (
        *("opacity", "display", "clip-path", "mask", "filter", "transform", "transform-origin", "stop-color"),
        *("stop-opacity", "vector-effect", "mix-blend-mode", "width", "height", "d"),
    )
)
_ATTRIBUTES = INHERITED | (OWN - {"width", "height", "d"})
_PART = re.compile(r"(\.|#)(-?[\w-]+)|\[\s*([\w-]+)\s*(?:([~|^$*]?=)\s*[\"']?([^\"'\]]*)[\"']?\s*)?\]")
_TYPE = re.compile(r"\*|-?[A-Za-z_][\w-]*")
_NEVER = re.compile(r":(hover|focus|active|visited|link|target)\b")
_SCREEN = re.compile(r"^\s*$|\b(all|screen)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Compound:
    tag: str
    parts: tuple[tuple[str, str, str], ...]

    def matches(self, element: Element) -> bool:
        if self.tag not in ("*", element.tag):
            return False
        attributes = element.attributes
        for kind, key, value in self.parts:
            if kind == ".":
                if key not in attributes.get("class", "").split():
                    return False
            elif kind == "#":
                if attributes.get("id") != key:
                    return False
            elif not _attribute_matches(attributes.get(key), kind, value):
                return False
        return True


@dataclass(frozen=True, slots=True)
class _Rule:
    chain: tuple[tuple[str, _Compound], ...]
    """Compounds from the element outwards, each with how it stands to the one before ('' the element itself)."""
    rank: tuple[int, int, int, int]
    declarations: tuple[tuple[str, str, bool], ...]

    def matches(self, element: Element, ancestors: list[Element]) -> bool:
        return self.chain[0][1].matches(element) and _climb(self.chain, 1, ancestors, len(ancestors))


def _climb(chain: tuple[tuple[str, _Compound], ...], k: int, ancestors: list[Element], height: int) -> bool:
    if k == len(chain):
        return True
    relation, compound = chain[k]
    lowest = height - 1 if relation == ">" else 0
    return any(
        compound.matches(ancestors[h]) and _climb(chain, k + 1, ancestors, h)
        for h in range(height - 1, max(lowest, 0) - 1, -1)
    )


def _attribute_matches(have: str | None, kind: str, wanted: str) -> bool:
    if have is None:
        return False
    match kind:
        case "=":
            return have == wanted
        case "~=":
            return wanted in have.split()
        case "^=":
            return bool(wanted) and have.startswith(wanted)
        case "$=":
            return bool(wanted) and have.endswith(wanted)
        case "*=":
            return bool(wanted) and wanted in have
        case "|=":
            return have == wanted or have.startswith(wanted + "-")
    return True


@dataclass(slots=True)
class StyleSheet:
    """The rules of a document; `unread` names what was left out of them."""

    rules: list[_Rule] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    by_key: dict[str, list[_Rule]] = field(default_factory=dict)

    def add(self, css: str) -> None:
        """Add the rules of one `style` element."""
        parsed = tinycss2.parse_stylesheet(css, skip_comments=True, skip_whitespace=True)
        for rule in self._qualified(parsed):
            declarations = _declarations(tinycss2.parse_blocks_contents(rule.content))
            relevant = tuple(d for d in declarations if d[0] in INHERITED or d[0] in OWN)
            if not relevant:
                continue
            for selector in tinycss2.serialize(rule.prelude).split(","):
                self._add_rule(selector.strip(), relevant)

    def _qualified(self, nodes: Iterable[tinycss2.ast.Node]) -> Iterator[tinycss2.ast.QualifiedRule]:
        for node in nodes:
            if node.type == "qualified-rule":
                yield node
            elif node.type == "at-rule":
                word = node.lower_at_keyword
                if word == "media" and node.content and _SCREEN.search(tinycss2.serialize(node.prelude)):
                    inner = tinycss2.parse_rule_list(node.content, skip_comments=True, skip_whitespace=True)
                    yield from self._qualified(inner)
                elif word == "import":
                    self.unread.append("style sheet in another file (@import)")

    def _add_rule(self, selector: str, declarations: tuple[tuple[str, str, bool], ...]) -> None:
        if _NEVER.search(selector):
            return
        chain = _parse_selector(selector)
        if chain is None:
            self.unread.append(f"style rule for '{selector[:60]}'")
            return
        kinds = [kind for _, compound in chain for kind, _, _ in compound.parts]
        ids = kinds.count("#")
        types = sum(compound.tag != "*" for _, compound in chain)
        rule = _Rule(chain, (ids, len(kinds) - ids, types, len(self.rules)), declarations)
        self.rules.append(rule)
        first = chain[0][1]
        keys = [f"{kind}{key}" for kind, key, _ in first.parts if kind in ".#"]
        self.by_key.setdefault(keys[0] if keys else first.tag, []).append(rule)

    def matching(self, element: Element, ancestors: list[Element]) -> list[_Rule]:
        """Give the rules for an element, weakest first."""
        if not self.rules:
            return []
        keys = [f".{c}" for c in element.attributes.get("class", "").split()]
        keys += [f"#{element.attributes.get('id', '')}", element.tag, "*"]
        found = [r for key in dict.fromkeys(keys) for r in self.by_key.get(key, ()) if r.matches(element, ancestors)]
        return sorted(found, key=lambda r: r.rank)


def _parse_selector(selector: str) -> tuple[tuple[str, _Compound], ...] | None:
    words = re.sub(r"\s*>\s*", " > ", selector).split()
    chain: list[tuple[str, _Compound]] = []
    relation = ""
    for word in reversed(words):
        if word == ">":
            relation = ">"
            continue
        compound = _parse_compound(word)
        if compound is None:
            return None
        chain.append((relation, compound))
        relation = " "
    return tuple(chain) or None


def _parse_compound(word: str) -> _Compound | None:
    match = _TYPE.match(word)
    tag, position = (match.group().rpartition("|")[2], match.end()) if match else ("*", 0)
    parts = []
    while position < len(word):
        part = _PART.match(word, position)
        if part is None:
            return None
        sign, key, attribute, relation, value = part.groups()
        parts.append((sign, key, "") if sign else (relation or "has", attribute, value or ""))
        position = part.end()
    return _Compound(tag, tuple(parts))


def _declarations(nodes: Iterable[tinycss2.ast.Node]) -> list[tuple[str, str, bool]]:
    found: list[tuple[str, str, bool]] = []
    for node in nodes:
        if node.type == "declaration":
            value = tinycss2.serialize([v for v in node.value if v.type != "comment"]).strip()
            names = ("marker-start", "marker-mid", "marker-end") if node.lower_name == "marker" else (node.lower_name,)
            found.extend((name, value, node.important) for name in names)
    return found


@lru_cache(maxsize=4096)
def _inline(style: str) -> tuple[tuple[str, str, bool], ...]:
    return tuple(_declarations(tinycss2.parse_blocks_contents(style)))


_NOTHING: Mapping[str, str] = MappingProxyType({})


def style_of(
    element: Element, ancestors: list[Element], sheet: StyleSheet, parent: Mapping[str, str] = _NOTHING
) -> dict[str, str]:
    """Give the properties of an element, those inherited from its parent's among them."""
    style = {k: v for k, v in parent.items() if k in INHERITED}
    given = {k: v.strip() for k, v in element.attributes.items() if k in _ATTRIBUTES}
    important: dict[str, str] = {}
    for rule in sheet.matching(element, ancestors):
        for name, value, strong in rule.declarations:
            (important if strong else given)[name] = value
    if "style" in element.attributes:
        for name, value, strong in _inline(element.attributes["style"]):
            if name in INHERITED or name in OWN:
                (important if strong else given)[name] = value
    for name, value in {**given, **important}.items():
        word = value.lower()
        if word == "inherit":
            if name in parent:
                style[name] = parent[name]
        elif word in ("initial", "unset", "revert"):
            if word == "initial" or name in OWN:
                style.pop(name, None)
        elif value:
            style[name] = value
    return style
