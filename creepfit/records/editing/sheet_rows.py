"""Rows of an XLSX sheet: cells set in the sheet's own XML, so that formulas, formats and pictures stay as they are.

openpyxl would write the whole workbook anew and lose what it does not know, the values of formulas before all.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from xml.sax.saxutils import escape, quoteattr

from creepfit.errors import InputError
from creepfit.records.editing.row import NewReading, clock_seconds, elapsed_text, moment_cell, reading_kinds, value_cell
from creepfit.records.headers import Column, head_of
from creepfit.records.moments import Clock, Moment, date_time, day_of, time_of_day
from creepfit.records.tables import Table
from creepfit.units import DAY

_ROW = r'<row\b[^>]*?\br="{row}"[^>]*?(?:/>|>.*?</row>)'
_ANY_ROW = re.compile(r'<row\b[^>]*?\br="(\d+)"')
_CELL = re.compile(r'<c\b[^>]*?\br="([A-Z]+)\d+"[^>]*?(?:/>|>.*?</c>)', re.DOTALL)
_STYLE = re.compile(r'\bs="(\d+)"')
_EPOCH = datetime(1899, 12, 30)

SAVED_ANEW = "the workbook opened and saved anew by the program that made it"


@dataclass(frozen=True)
class SheetFile:
    """A workbook's bytes and the sheet that holds the readings, with them as a table."""

    content: bytes
    sheet: str
    table: Table
    file: str

    def with_reading(self, new: NewReading, clock: Clock | None) -> bytes:
        """Return the workbook with one row more below the last one.

        Raises
        ------
        InputError
            A value or a moment that the table cannot take, or a workbook that is not built as usual.
        """
        head = head_of(self.table.header, self.file)
        rows = [cells for _, cells in self.table.rows]
        lowest = max((int(where.split()[1]) for where, _ in self.table.rows), default=self._head_row)
        xml = _Xml(self.content, self.sheet, self.file)
        for name, given, title in (
            ("note", new.note, "note"), ("temperature", new.temperature, "temperature [degC]"),
        ):  # fmt: skip
            if given is not None and head.column(name) is None:
                place = max(len(self.table.header), *(c.index + 1 for c in head.columns))
                xml.set(self._head_row, place, title)
                column = Column(name, "degC" if name == "temperature" else None, title, place)
                head = type(head)((*head.columns, column), head.passed_over)
        for column in head.columns:
            above = [r[column.index] for r in rows if column.index < len(r) and r[column.index] is not None]
            cell = self._cell(column, new, clock, above)
            if cell is not None:
                xml.set(lowest + 1, column.index, cell, like=lowest if above else None)
        return xml.saved()

    def with_skip(self, row: int, why: str) -> bytes:
        """Return the workbook with the reason why a row is left out in its column `skip`.

        Raises
        ------
        InputError
            No such row of readings.
        """
        if f"row {row}" not in dict(self.table.rows):
            rows = [where for where, _ in self.table.rows]
            known = f"{rows[0]} to {rows[-1]}" if rows else "a row of readings; there is none yet"
            raise InputError("no row of readings", file=self.file, key=f"row {row}", expected=known)
        xml = _Xml(self.content, self.sheet, self.file)
        column = head_of(self.table.header, self.file).column("skip")
        place = len(self.table.header) if column is None else column.index
        if column is None:
            xml.set(self._head_row, place, "skip")
        xml.set(row, place, why)
        return xml.saved()

    @property
    def _head_row(self) -> int:
        return self.table.head_row

    def _cell(self, column: Column, new: NewReading, clock: Clock | None, above: Sequence[object]) -> object:
        texts = [str(c) for c in above]
        if column.name in ("time", "when", "date", "clock"):
            return self._moment(column, new.at, clock, above, texts)
        if column.name == "reading":
            if above and not _first_of_kind(column, self.table):
                return None
            text = value_cell(new.value, column.unit, reading_kinds(column), texts, "VALUE")
            return _number_or_text(text)
        if column.name == "temperature" and new.temperature is not None:
            return _number_or_text(value_cell(new.temperature, column.unit, ("temperature",), texts, "--temperature"))
        return new.note if column.name == "note" else None

    def _moment(
        self, column: Column, at: Moment, clock: Clock | None, above: Sequence[object], texts: Sequence[str]
    ) -> object:
        last = above[-1] if above else None
        if column.name == "time" and column.unit is None:
            return elapsed_text(clock_seconds(at, clock))
        text = moment_cell(column, at, clock, texts)
        if column.name == "time":
            return float(text)
        if isinstance(last, datetime | date | time):
            return {"when": date_time, "date": day_of, "clock": time_of_day}[column.name](text)
        return text


def _first_of_kind(column: Column, table: Table) -> bool:
    first = next(c for c in head_of(table.header, table.file).columns if c.name == "reading")
    return first.index == column.index


def _number_or_text(text: str) -> object:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text


class _Xml:
    """One sheet's XML within its workbook."""

    def __init__(self, content: bytes, sheet: str, file: str) -> None:
        self._file = file
        try:
            with zipfile.ZipFile(io.BytesIO(content)) as book:
                self._path = self._sheet_path(book, sheet)
                # a part that nobody has read so far may be damaged
                self._parts = [(item, book.read(item.filename)) for item in book.infolist()]
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
            raise InputError(f"a workbook of which a part is damaged ({error})", file=file, expected=SAVED_ANEW) from None
        self._text = next(data for item, data in self._parts if item.filename == self._path).decode("utf-8")
        if "</sheetData>" not in self._text:
            self._text = re.sub(r"<sheetData\s*/>", "<sheetData></sheetData>", self._text, count=1)
        if "</sheetData>" not in self._text:
            raise self._odd()

    def _sheet_path(self, book: zipfile.ZipFile, sheet: str) -> str:
        from xml.etree import ElementTree

        names = {n.casefold(): n for n in book.namelist()}
        try:
            rels = ElementTree.fromstring(book.read(names["xl/_rels/workbook.xml.rels"]))
            main = ElementTree.fromstring(book.read(names["xl/workbook.xml"]))
        except (KeyError, ElementTree.ParseError):
            raise self._odd() from None
        targets = {r.attrib["Id"]: r.attrib["Target"] for r in rels}
        for element in main.iter():
            if element.tag.endswith("}sheet") and element.attrib.get("name") == sheet:
                key = next(v for k, v in element.attrib.items() if k.endswith("}id"))
                target = targets[key].lstrip("/")
                path = target if target.startswith("xl/") else f"xl/{target}"
                if path.casefold() in names:
                    return names[path.casefold()]
        raise self._odd()

    def _odd(self) -> InputError:
        return InputError("a workbook built in an unusual way", file=self._file, expected="the row typed into it by hand")

    def set(self, row: int, column: int, value: object, like: int | None = None) -> None:
        """Put a value into a cell; its format is its own, or that of the cell in row `like`."""
        letters = _letters(column)
        match = re.search(_ROW.format(row=row), self._text, re.DOTALL)
        if match is None:
            self._insert_row(row)
            match = re.search(_ROW.format(row=row), self._text, re.DOTALL)
            assert match is not None
        element = match[0]
        if element.endswith("/>"):
            element = f"{element[:-2]}></row>"
        cells = [(m[1], m[0]) for m in _CELL.finditer(element)]
        own = next((c for name, c in cells if name == letters), None)
        style = self._style(own) or (self._style(self._cell_at(like, letters)) if like is not None else None)
        new = _cell_xml(f"{letters}{row}", value, style)
        if own is not None:
            element = element.replace(own, new, 1)
        else:
            after = next((c for name, c in cells if (len(name), name) > (len(letters), letters)), "</row>")
            element = element.replace(after, new + after, 1)
        element = re.sub(r'\sspans="[^"]*"', "", element, count=1)
        self._text = self._text[: match.start()] + element + self._text[match.end() :]

    def saved(self) -> bytes:
        """Return the workbook with the sheet changed; the size it claims is taken out, as it is only a hint."""
        self._text = re.sub(r"<dimension\b[^>]*?/>", "", self._text, count=1)
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
            for item, data in self._parts:
                new.writestr(item, self._text.encode("utf-8") if item.filename == self._path else data)
        return out.getvalue()

    def _insert_row(self, row: int) -> None:
        later = next((m for m in _ANY_ROW.finditer(self._text) if int(m[1]) > row), None)
        place = self._text.index("</sheetData>") if later is None else later.start()
        self._text = f'{self._text[:place]}<row r="{row}"></row>{self._text[place:]}'

    def _cell_at(self, row: int, letters: str) -> str | None:
        match = re.search(_ROW.format(row=row), self._text, re.DOTALL)
        return None if match is None else next((m[0] for m in _CELL.finditer(match[0]) if m[1] == letters), None)

    @staticmethod
    def _style(cell: str | None) -> str | None:
        match = None if cell is None else _STYLE.search(cell[: cell.index(">")])
        return None if match is None else match[1]


def _letters(column: int) -> str:
    name, number = "", column + 1
    while number:
        number, rest = divmod(number - 1, 26)
        name = chr(65 + rest) + name
    return name


def _cell_xml(place: str, value: object, style: str | None) -> str:
    start = f"<c r={quoteattr(place)}" + ("" if style is None else f' s="{style}"')
    if isinstance(value, datetime):
        value = (value.replace(tzinfo=None) - _EPOCH).total_seconds() / DAY
    elif isinstance(value, date):
        value = (value - _EPOCH.date()).days
    elif isinstance(value, time):
        value = (value.hour * 3600 + value.minute * 60 + value.second) / DAY
    if isinstance(value, float | int):
        return f"{start}><v>{value!r}</v></c>"
    return f'{start} t="inlineStr"><is><t xml:space="preserve">{escape(str(value))}</t></is></c>'
