"""The SQL of a shop's book: tables are made once, functions are those of whichever version ran `init` last.

What stands on a server is compared with our text, so that neither an older version's functions nor edited ones pass,
nor any that others may ask than kiosks.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from importlib import resources

from kiosk.link.connection import Connection

_FUNCTION = re.compile(r"^CREATE FUNCTION (\w+)\((.*?)\bAS \$\$(.*?)\$\$;$", re.MULTILINE | re.DOTALL)
_THERE = """SELECT proname, prosecdef, prosrc, coalesce(array_to_string(proconfig, ';'), ''), pg_get_userbyid(proowner)
    FROM pg_proc WHERE pronamespace = 'book'::regnamespace"""
_GRANT = re.compile(r"^GRANT EXECUTE ON FUNCTION ([^;]*?) TO ([^;]*);$", re.MULTILINE)
_MAY = """SELECT proname, coalesce(pg_roles.rolname, 'public') FROM pg_proc,
    aclexplode(coalesce(proacl, acldefault('f', proowner))) AS may LEFT JOIN pg_roles ON pg_roles.oid = may.grantee
    WHERE pronamespace = 'book'::regnamespace AND may.grantee <> proowner"""
_PATH = "search_path=book, pg_catalog, pg_temp"


def tables(connection: Connection, named: Mapping[str, str]) -> str:
    """What makes the tables.  named: the shop's roles (`server.roles`)."""
    return _text(connection, "book.sql", named)


def functions(connection: Connection, named: Mapping[str, str]) -> str:
    """What makes the functions, where there are none."""
    return _text(connection, "functions.sql", named)


def changed(connection: Connection, named: Mapping[str, str]) -> list[str]:
    """Names of the functions there that are not ours, or that others may ask than ours, and of ours that are not
    there, sorted.  Raises LinkFault."""
    text = functions(connection, named)
    ours = {
        (name, "SECURITY DEFINER" in head, body, _PATH, named["owner"]) for name, head, body in _FUNCTION.findall(text)
    }
    there = {tuple(row) for row in connection.ask(_THERE)}
    may = {
        (name.strip(), role.strip().strip('"'))
        for names, roles in _GRANT.findall(text)
        for name in names.split(",")
        for role in roles.split(",")
    }
    asked = {tuple(row) for row in connection.ask(_MAY)}
    return sorted({row[0] for row in (ours ^ there) | (may ^ asked)})


def without_functions(connection: Connection) -> str:
    """What takes away all functions that are there.  Raises LinkFault."""
    rows = connection.ask("SELECT oid::regprocedure::text FROM pg_proc WHERE pronamespace = 'book'::regnamespace")
    return "".join(f"DROP FUNCTION {each};\n" for (each,) in rows)


def _text(connection: Connection, file: str, named: Mapping[str, str]) -> str:
    from psycopg import sql

    text = resources.files("kiosk.link").joinpath(file).read_text("utf-8")
    for what, name in named.items():
        text = text.replace(f":{what}_text", sql.Literal(name).as_string(connection.raw))
        text = text.replace(f":{what}", sql.Identifier(name).as_string(connection.raw))
    return text
