"""A profile's tables to a plan of the image: every value checked, every fault with its place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from romtool.errors import InputError, InvalidValue, Path, Problem
from romtool.formats import MAX_IMAGE
from romtool.image.decode import layout_named
from romtool.profile.plan import Plan, Reader
from romtool.profile.read_card import CardReader
from romtool.profile.variants import Variant, variant_of, variant_problems
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Hex, no_region, whole_number
from romtool.schema.fields import Field
from romtool.schema.image_layouts import lead_of
from romtool.schema.numbers import clip, describe, did_you_mean, one_of, parse_hex, spells_number
from romtool.schema.tables import check_table, unknown_keys


def read_profile(catalog: Catalog, data: Mapping[str, Any], variant: str | None = None) -> Plan:
    """Return the plan for a profile's tables, or for one of its variants.

    Raises InputError with every problem that was found, in the profile's own places.
    """
    _shape(catalog, data)
    found = list(variant_problems(catalog, data))
    if variant is None or found:
        return _read(catalog, data, found)
    chosen = variant_of(catalog, data, variant)
    try:
        return _read(catalog, chosen.tables(data), [], chosen)
    except InputError as refused:
        raise InputError([chosen.about(problem) for problem in refused.problems]) from None


def _read(
    catalog: Catalog,
    data: Mapping[str, Any],
    problems: list[Problem],
    variant: Variant | None = None,
) -> Plan:
    plan = Plan(catalog, catalog.default_layout, variant)
    board = data.get("board", {})
    problems += check_table(board, catalog.tables["board"], catalog.tables, ("board",))
    outside = ImageReader(plan, data, problems)
    if "raw" in data.get("image", {}):
        outside.read_whole()
    else:
        outside.read()
        CardReader(plan, data, problems).read()
    if problems:
        raise InputError(problems)
    return plan


def _shape(catalog: Catalog, data: Mapping[str, Any]) -> None:
    """Refuse what isn't a table where one belongs: nothing else can be read then."""
    problems = list(unknown_keys(data, catalog.tables["profile"], (), catalog.tables))
    for key in catalog.tables["profile"].keys.values():
        value = data.get(key.name, [] if key.type == "tables" else {})
        wanted = list if key.type == "tables" else dict
        rows = value if isinstance(value, list) else []
        if not isinstance(value, wanted) or any(not isinstance(row, dict) for row in rows):
            mark = f"[[{key.name}]]" if key.type == "tables" else f"[{key.name}]"
            message = f"{key.name} is not a table"
            problems.append(Problem(message, f"write it as {mark}", (key.name,)))
    if problems:
        raise InputError(problems)


class ImageReader(Reader):
    """Reads what lies outside the PnP data, and what is overridden."""

    def read(self) -> None:
        """Fill the plan from [image], and from [config] and [override] if the layout is known."""
        if self._image(self.data.get("image", {})):
            self._config()
            self._override()

    def read_whole(self) -> None:
        """Fill the plan of an image that is given as raw bytes."""
        image = self.data["image"]
        self.problems += check_table(image, self.tables["image"], self.tables, ("image",))
        for path in [
            *((name,) for name in self.data if name != "image"),
            *(("image", name) for name in image if name != "raw"),
        ]:
            message = f"{path[-1]} can't stand beside the image's raw bytes"
            hint = "raw is the whole image: leave all else out"
            self.problem(message, hint, path, on_key=True)
        if not self.problems:
            self.result.raw = parse_hex(image["raw"])
            if not 1 <= len(self.result.raw) <= MAX_IMAGE:
                message = f"raw: {len(self.result.raw)} bytes are no image"
                self.problem(message, "1 byte to 64 KiB", ("image", "raw"))

    def _image(self, image: Mapping[str, Any]) -> bool:
        """Read [image]; return whether the layout is known, so that its own keys can be judged."""
        known = True
        found = list(check_table(image, self.tables["image"], self.tables, ("image",)))
        self.problems += found
        bad = {problem.path[1] for problem in found if problem.path and len(problem.path) > 1}
        good = {key: value for key, value in image.items() if key not in bad}
        plan = self.result
        if "layout" in bad:
            known = False
        if "layout" in good:
            try:
                plan.layout = layout_named(self.catalog, good["layout"])
            except InputError as refused:
                problem = refused.problems[0]
                path = ("image", "layout")
                self.problem(problem.message, problem.hint, path)
                known = False
        if "lead" in good:
            self._lead(good["lead"], "layout" in image)
        plan.fill = whole_number(good["fill"]) if "fill" in good else plan.layout.fill
        if "part" in good:
            try:
                plan.part = self.catalog.part(good["part"])
            except InputError as refused:
                problem = refused.problems[0]
                self.problem(problem.message, problem.hint, ("image", "part"))
            if "size" in good:
                message = "part and size can't both stand"
                hint = "size is for a dump of no part's length"
                self.problem(message, hint, ("image", "size"), on_key=True)
        plan.size = whole_number(good["size"]) if "size" in good else None
        plan.patch = parse_hex(good.get("patch", ""))
        for index, run in enumerate(good.get("tail", [])):
            place = ("image", "tail", index)
            plan.tail.append((whole_number(run["at"]), parse_hex(run["raw"]), place))
        return known

    def _lead(self, value: Any, has_layout: bool) -> None:
        """Take the bytes before the PnP data, of no known layout: then none can be named."""
        path = ("image", "lead")
        if has_layout:
            message = "lead can't stand beside layout"
            self.problem(message, "a lead is of no known layout", path, on_key=True)
        lead = parse_hex(value)
        if not 1 <= len(lead) < MAX_IMAGE:
            self.problem("lead has no bytes", "leave it out, or give its bytes", path)
            return
        self.result.layout, self.result.lead = lead_of(len(lead)), lead

    def _config(self) -> None:
        layout, config = self.result.layout, self.data.get("config", {})
        fields = {f.key: f for f in layout.config_fields}
        for key in config:
            if key not in fields:
                hint = did_you_mean(key, fields) or f"its keys are {', '.join(fields)}"
                if not fields:
                    others = [f.name for f in self.catalog.layouts.values() if f.config_fields]
                    hint = f"name the chip's layout in [image], such as {one_of(others)}"
                what = "a lead of no known layout" if layout.is_lead else f"layout {layout.name}"
                message = f"{what} has no configuration {clip(key)}"
                self.problem(message, hint, ("config", key), on_key=True)
        for key, field_ in fields.items():
            value = config.get(key, field_.default)
            stored = self.stored(field_, value, ("config", key))
            self.result.config[key] = stored

    def _override(self) -> None:
        override = self.data.get("override", {})
        own = {f.key: f for f in self.result.layout.computed_fields}
        specs = self.tables["override"].keys
        fields = own | {n: self.catalog.field(key.field) for n, key in specs.items() if key.field}
        for key, value in override.items():
            path = ("override", key)
            if key == self.catalog.identifier.name:
                self._whole_identifier(value, path)
            elif key not in fields:
                hint = did_you_mean(key, fields)
                hint = hint or f"what can be overridden here: {', '.join(fields)}"
                message = (
                    f"nothing called {clip(key)} is computed in layout {self.result.layout.name}"
                )
                self.problem(message, hint, path, on_key=True)
            elif key in specs and specs[key].absent is not None and value == specs[key].absent:
                self.result.has_end = False
            else:
                self._override_one(fields[key], value, path)

    def _override_one(self, field_: Field, value: Any, path: Path) -> None:
        kind, is_count = field_.kind, field_ in self.result.layout.counts
        ways = kind.ways(no_region)
        if isinstance(value, str) and value in ways:
            self.result.override[field_.key] = value
        elif is_count and isinstance(value, str) and not spells_number(value):
            words = one_of([*(f'"{way}"' for way in ways), "a number"])
            message = f"{field_.title}: {describe(value)} is no way of counting"
            self.problem(message, f"write {words}", path)
        elif kind.is_constant and not kind.is_bytes:
            message = f"{field_.title} can't be overridden"
            self.problem(message, "it is part of a byte", path)
        else:
            self.result.override[field_.key] = self.stored(field_, value, path)

    def _whole_identifier(self, value: Any, path: Path) -> None:
        """Take the bytes of an identifier that no ID can be spelt from."""
        size = self.catalog.identifier.size
        try:
            data = Hex(bits=8 * size).to_stored(value)
        except InvalidValue as wrong:
            hint = wrong.hint or "write all bytes of the identifier, its checksum included"
            self.problem(f"{path[-1]}: {wrong.message}", hint, path)
            return
        self.result.whole_identifier = data
