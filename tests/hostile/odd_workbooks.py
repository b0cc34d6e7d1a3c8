"""Workbooks no spreadsheet would write, made by hand."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Iterable
from pathlib import Path

import openpyxl

HEAD = '<?xml version="1.0" encoding="UTF-8"?>'
MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
SHEET, STRINGS = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"


def sheet(rows: str) -> str:
    """Give a sheet's part around its rows."""
    return f"{HEAD}<worksheet {MAIN}><sheetData>{rows}</sheetData></worksheet>"


def workbook(
    path: Path, rows: str | bytes, strings: str | Iterable[bytes] = "<si><t>km</t></si>"
) -> Path:
    """Write a workbook of one sheet; a `bytes` sheet is the whole part, as it is."""
    usual = io.BytesIO()
    openpyxl.Workbook().save(usual)
    with (
        zipfile.ZipFile(usual) as source,
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive,
    ):
        for name in source.namelist():
            if name not in (SHEET, STRINGS):
                archive.writestr(name, source.read(name))
        archive.writestr(SHEET, sheet(rows) if isinstance(rows, str) else rows)
        with archive.open(STRINGS, "w", force_zip64=True) as stream:
            stream.write(f"{HEAD}<sst {MAIN}>".encode())
            for piece in [strings.encode()] if isinstance(strings, str) else strings:
                stream.write(piece)
            stream.write(b"</sst>")
    return path


def lying(path: Path, name: str, size: int) -> Path:
    """Have an archive say another size of one part than it unpacks to, in both places."""
    content = bytearray(path.read_bytes())
    with zipfile.ZipFile(io.BytesIO(bytes(content))) as archive:
        local = archive.getinfo(name).header_offset
    struct.pack_into("<I", content, local + 22, size)
    central = content.index(b"PK\x01\x02")
    while content[central + 46 : central + 46 + len(name)] != name.encode():
        central = content.index(b"PK\x01\x02", central + 4)
    struct.pack_into("<I", content, central + 24, size)
    path.write_bytes(content)
    return path
